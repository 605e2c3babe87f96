"""The hotspot's name as a pattern, from names a unit may use; `Hotspot.name_for` must give each name back."""

import pytest
from support.records import beacon

from hil.drive.draft.draft import Draft, Question, driven_as
from hil.drive.draft.hotspot_told import name_pattern, tell_hotspot

UNIT = "02:4D:56:00:a7:31"


@pytest.mark.parametrize(
    ("name", "pattern"),
    [
        ("mossgate-a731", "mossgate-{address_tail}"),
        ("a731 gate", "{address_tail} gate"),
        ("gate", "gate"),
        ("gate-A731", "gate-A731"),  # a product file's tail is lower case
        ("a731-a731", "a731-a731"),  # which one is it?
    ],
)
def test_the_tail_of_the_address_is_recognised(name: str, pattern: str) -> None:
    assert name_pattern(name, UNIT) == pattern
    draft = Draft()
    tell_hotspot(draft, beacon(1.0, name), UNIT)
    assert draft.hotspot is not None
    assert draft.hotspot.name_for(UNIT) == name
    assert bool(draft.questions) == ("{" not in pattern)


def test_security_decides_whether_the_label_s_key_is_needed() -> None:
    wpa2 = [(announced, "wpa2", "label") for announced in ("wpa2", "wpa2 and wpa3", "wpa3", "other")]
    for announced, security, key in [("open", "open", None), *wpa2]:
        draft = Draft()
        tell_hotspot(draft, beacon(1.0, "gate-a731", security=announced), UNIT)
        assert draft.hotspot is not None
        assert (draft.hotspot.security, draft.hotspot.key) == (security, key)
        assert [q.key for q in draft.questions] == (["hotspot.security"] if announced in ("wpa3", "other") else [])


def test_a_name_that_no_product_file_can_say_ends_the_draft() -> None:
    draft = Draft()
    tell_hotspot(draft, beacon(1.0, "gate-{x}"), UNIT)
    assert draft.hotspot is None
    assert "gate-{x}" in draft.stopped


def test_a_unit_of_which_nothing_is_known_can_be_driven() -> None:
    draft = Draft()
    product = driven_as(draft)
    assert product.questions == ()
    assert product.fastest_flash_hz == 2.8  # IEC 60073: normal flash, 1.4 to 2.8 Hz
    draft.ask("name", "what?")
    assert draft.questions == [Question("name", "what?")]
