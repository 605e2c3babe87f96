"""The time since start that a unit states. Worked out by hand from the rule: a second of rounding and a hundredth of the
time either way, and a second and a half for a program that begins to count after the supply is on."""

import pytest
from support.records import answered, awake, beacons, make, power

from hil.core.readings import Occurrence
from hil.evidence.events import HotspotGone, PowerOn
from hil.evidence.running_time import compare_running_time
from hil.evidence.seen import Seen

PAGE = answered(150.0, "status", "s.body", total_s=0.2)
BEGAN = Occurrence.at(100.0, 0.02)
# Longest 50.22, shortest 49.98; room 1 + 0.5022: from 46.978 to 51.722.


@pytest.mark.parametrize(
    ("stated", "agrees"),
    [
        ("50 s", True),
        ("50", True),
        ("47.0 s", True),
        ("51.7 s", True),
        ("46.9 s", False),  # a restart it hides makes it too short
        ("51.8 s", False),
        ("12 s", False),
        ("0", False),
        ("5000 s", False),
        ("a while", False),
        ("", False),
    ],
)
def test_the_time_stated_against_our_clock(stated: str, agrees: bool) -> None:
    seen = compare_running_time(stated, PAGE, BEGAN)
    assert seen.holds is agrees
    assert ("50.0 to 50.2 s" in seen.text) is any(letter.isdigit() for letter in stated)


def status(text: str) -> bytes:
    return f"<dl><dt>Running for</dt><dd>{text}</dd></dl>".encode()


def test_since_power_on_while_the_supply_stayed_on() -> None:
    moments = [*awake(95.0, 160.0), power("on", 100.0), PAGE]
    evidence = make(moments, pages={"s.body": status("50 s")}).evidence(98.0, 155.0, "pages", "power")
    label = make([]).record.product.status
    assert evidence.running_time_agrees(PowerOn, "status", label).holds is True


def test_a_supply_nobody_watched_tells_nothing() -> None:
    moments = [*awake(95.0, 160.0, but=["power"]), power("on", 100.0), PAGE]
    evidence = make(moments, pages={"s.body": status("12 s")}).evidence(98.0, 155.0, "pages", "power")
    seen = evidence.running_time_agrees(PowerOn, "status", make([]).record.product.status)
    assert seen.holds is None
    assert "power" in seen.text


def test_since_the_hotspot_fell_silent_after_saving() -> None:
    moments = [*awake(80.0, 160.0), *beacons(80.0, 102.0), answered(100.0, "save", "x.body", total_s=0.5), PAGE]
    made = make(moments, pages={"s.body": status("48 s"), "x.body": b"<p>saved</p>"})
    label = made.record.product.status
    assert made.evidence(90.0, 155.0, "pages", "air").running_time_agrees(HotspotGone, "status", label).holds is True
    never = make([*moments, *beacons(102.0, 156.0)], pages={"s.body": status("48 s"), "x.body": b"<p>saved</p>"})
    assert never.evidence(90.0, 155.0, "pages", "air").running_time_agrees(HotspotGone, "status", label).holds is None


def test_a_page_without_the_value_is_the_unit_s_failure_and_one_not_fetched_tells_nothing() -> None:
    moments = [*awake(95.0, 160.0), power("on", 100.0)]
    label = make([]).record.product.status
    empty = make([*moments, PAGE], pages={"s.body": b"<p>nothing</p>"}).evidence(98.0, 155.0, "pages", "power")
    assert empty.running_time_agrees(PowerOn, "status", label).holds is False
    assert (
        make(moments).evidence(98.0, 155.0, "pages", "power").running_time_agrees(PowerOn, "status", label).holds
        is None
    )


def test_a_time_the_product_does_not_promise_is_not_judged() -> None:
    label = make([]).record.product.status.model_copy(update={"running_for_s": None})
    evidence = make([PAGE]).evidence(98.0, 155.0, "pages", "power")
    assert evidence.running_time_agrees(PowerOn, "status", label) == Seen.not_promised()
