"""What a unit is open for, judged on records made by hand.

Statuses are RFC 9110's (15.5.2 and 15.5.4: 401 and 403 turn away). Which ports may be open is the product file's.
"""

from collections.abc import Iterable
from dataclasses import replace

import pytest
from support.records import FACTS, TYPED, answered, awake, make, moment, product_with

from hil.core.moments import Moment
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.seen import Seen
from hil.evidence.views import Gate
from hil.evidence.window import Window
from hil.page.attempts import (
    DEFAULT_KEYS,
    FROM_ANOTHER_SITE,
    LABEL_KEY,
    PORTS,
    WITHOUT_KEY,
    SaveAttempt,
    port_purpose,
    ports_to_try,
)

SAVED = {"unit_name": TYPED["unit_name"], "network": TYPED["network"]}
GAVE_UP = moment(2.0, "leg", "gave up", why="the probe could not join", instrument="")


def knocks(open_ports: Iterable[int] = (80,), silent: Iterable[int] = (), left_out: Iterable[int] = ()) -> list[Moment]:
    """A knock at each usual port; what is not open or silent refuses."""
    tried = [port for port in PORTS if port not in left_out]
    kinds = {port: "hung up" if port in open_ports else "silent" if port in silent else "refused" for port in tried}
    return [answered(3.0 + at / 10, port_purpose(port), "", kind=kinds[port]) for at, port in enumerate(tried)]


def evidence(
    moments: Iterable[Moment],
    pages: dict[str, bytes] | None = None,
    *,
    ports: list[int] | None = None,
    accepted: dict[str, dict[str, str]] | None = None,
) -> LegEvidence:
    product = product_with({"ports": [80] if ports is None else ports, "accepted": accepted or {}})
    made = make([*awake(0.0, 20.0), *moments], pages=pages, product=product)
    return made.evidence(0.0, 20.0)


def by_verdict(found: dict[str, Seen]) -> dict[bool | None, list[str]]:
    return {holds: [words for words, seen in found.items() if seen.holds is holds] for holds in (True, False, None)}


def test_declared_ports_open_and_all_others_shut() -> None:
    found = evidence(knocks()).open_ports()
    assert {seen.holds for seen in found.values()} == {True}
    assert found["every other port tried is closed"].text == f"{len(PORTS) - 1} refuse"


def test_each_open_port_is_a_finding_of_its_own_with_its_provision() -> None:
    found = evidence(knocks((80, 23, 8080))).open_ports()
    assert by_verdict(found)[False] == ["port 23 is closed", "port 8080 is closed"]
    assert "TCP port 23 is open, against ETSI EN 303 645 V2.1.1, 5.6-1" in found["port 23 is closed"].text
    assert found["every other port tried is closed"].holds


def test_one_accepted_open_port_leaves_the_other_a_fail() -> None:
    given = {"open_port_23": {"until": "2027-03-31", "reason": "pilot series", "by": "N. N."}}
    unsaid = evidence(knocks((80, 23)), accepted=given).open_ports()
    assert by_verdict(unsaid)[False] == ["port 23 is closed"]  # a run that does not say when it began accepts nothing


def test_a_declared_port_that_refuses_is_no_small_thing() -> None:
    assert by_verdict(evidence(knocks(())).open_ports())[False] == ["port 80, which is declared, is open"]


def test_declared_ports_beyond_the_usual_are_tried_too() -> None:
    assert ports_to_try((4711,)) == tuple(sorted((*PORTS, 4711)))
    found = evidence(knocks(), ports=[80, 4711]).open_ports()
    assert by_verdict(found)[None] == ["port 4711, which is declared, is open"]


def test_silence_counts_from_a_unit_that_answers_elsewhere() -> None:
    page = answered(2.0, "status", "status.body")
    told = evidence([*knocks(silent=(443,)), page]).open_ports()["every other port tried is closed"]
    assert (told.holds, told.text) == (True, f"{len(PORTS) - 2} refuse, silent: 443")
    alone = evidence(knocks((), silent=PORTS)).open_ports()["every other port tried is closed"]
    assert alone.holds is None
    assert "pages" in alone.text


def test_a_port_that_was_not_tried_leaves_the_rest_unjudged() -> None:
    found = evidence(knocks(left_out=(9100,))).open_ports()
    assert by_verdict(found)[None] == ["every other port tried is closed"]
    assert by_verdict(evidence([]).open_ports())[True] == []


def test_a_unit_that_let_nobody_in_fails() -> None:
    assert by_verdict(evidence([GAVE_UP]).open_ports())[True] == []
    assert by_verdict(evidence([GAVE_UP]).open_ports())[None] == []


def test_ports_that_are_not_promised_are_not_judged() -> None:
    made = make(knocks(), product=product_with({"ports": None}))
    assert [seen.promised for seen in made.evidence(0.0, 20.0).open_ports().values()] == [False]


@pytest.mark.parametrize(("kind", "holds"), [("refused", True), ("silent", False), ("hung up", False)])
def test_the_port_of_encrypted_pages_must_refuse_and_not_be_silent(kind: str, holds: bool) -> None:
    knock = answered(3.0, port_purpose(443), "", kind=kind, total_s=0.1)
    assert evidence([knock]).tls_refused().holds is holds


@pytest.mark.parametrize(
    ("status", "holds"), [(401, True), (403, True), (200, False), (302, False), (404, False), (500, False)]
)
def test_only_401_and_403_turn_away(status: int, holds: bool) -> None:
    page = answered(3.0, "settings without the key", "s.body", status=status)
    assert (
        evidence([page], {"s.body": b"x"}).turned_away("settings without the key", "settings_without_key").holds
        is holds
    )


def test_only_a_page_that_opened_is_the_named_finding() -> None:
    """A unit that is silent, or answers with an error, is not accepted as one that opens its page."""
    for page in (answered(3.0, "look", "", kind="silent"), answered(3.0, "look", "s.body", status=500)):
        assert "5.5-5" not in evidence([page], {"s.body": b"x"}).turned_away("look", "settings_without_key").text
    page = answered(3.0, "look", "s.body", status=200)
    assert "5.5-5" in evidence([page], {"s.body": b"x"}).turned_away("look", "settings_without_key").text


def form_with(values: dict[str, str]) -> bytes:
    boxes = "".join(f'<input name="{name}" value="{value}">' for name, value in values.items())
    return f'<!DOCTYPE html><form method="post" action="/save">{boxes}</form>'.encode()


def asked(purpose: str) -> Moment:
    return moment(2.5, "leg", "asks for a page", purpose=purpose)


def test_each_default_key_that_was_tried_is_judged() -> None:
    purposes = [*DEFAULT_KEYS, LABEL_KEY]
    tried = [asked(purpose) for purpose in purposes]
    pages = [answered(3.0, purpose, "s.body", status=200 if purpose == LABEL_KEY else 401) for purpose in purposes]
    found = evidence([*tried, *pages], {"s.body": b"x"}).default_keys()
    assert by_verdict(found)[False] == [f"{LABEL_KEY}: turned away"]
    assert "5.1-1" in found[f"{LABEL_KEY}: turned away"].text
    assert by_verdict(evidence(tried).default_keys())[None] == [f"{purpose}: turned away" for purpose in purposes]


def test_default_keys_that_the_leg_did_not_come_to_do_not_pass() -> None:
    first, *left = [*DEFAULT_KEYS, LABEL_KEY]
    gone = moment(4.0, "leg", "gave up", why="its radio is gone", instrument="access point")
    found = evidence([asked(first), answered(3.0, first, "s.body", status=401), gone], {"s.body": b"x"}).default_keys()
    assert by_verdict(found) == {
        True: [f"{first}: turned away"],
        False: [],
        None: [f"{key}: turned away" for key in left],
    }


def test_a_default_key_that_was_set_is_none_to_try() -> None:
    made = make([], facts={**FACTS, "trial": {**FACTS["trial"], "values": {**TYPED, "update_key": "admin"}}})
    assert "settings with 'admin': turned away" not in made.evidence(0.0, 20.0).default_keys()


def test_an_accepted_save_does_not_hide_another_setting_that_it_changed() -> None:
    given = {"save_without_key": {"until": "2027-03-31", "reason": "pilot series", "by": "N. N."}}
    page = answered(5.0, WITHOUT_KEY.afterwards, "after.body")

    def after(**values: str) -> Seen:
        made = make(
            [*awake(0.0, 20.0), page],
            pages={"after.body": form_with({**SAVED, **values})},
            product=product_with({"accepted": given}),
        )
        record = replace(made.record, began="2026-11-25T18:00:00")
        return LegEvidence(Window("leg", 0.0, 20.0, record), Gate()).after_attempt(
            WITHOUT_KEY, "save_without_key", dict(SAVED)
        )

    assert (after(unit_name="vent-4ky").holds, after(unit_name="vent-4ky").accepted) == (True, "save_without_key")
    assert after(unit_name="vent-4ky", network="").holds is False


@pytest.mark.parametrize("chosen", [WITHOUT_KEY, FROM_ANOTHER_SITE])
@pytest.mark.parametrize(("unit_name", "holds"), [(TYPED["unit_name"], True), ("vent-4ky", False)])
def test_settings_must_be_as_they_were(chosen: SaveAttempt, unit_name: str, holds: bool) -> None:
    page = answered(5.0, chosen.afterwards, "after.body")
    pages = {"after.body": form_with({**SAVED, "unit_name": unit_name})}
    seen = evidence([page], pages).after_attempt(chosen, "save_without_key", dict(SAVED))
    assert seen.holds is holds
    assert ("5.5-5" in seen.text) is not holds


def test_secrets_in_what_stations_tell_are_found() -> None:
    leased = moment(
        3.0, "access point", "leased", address="02:4d:56:00:a7:31", ip="198.51.100.2", name=TYPED["update_key"]
    )
    assert "update_key" in evidence([leased]).leaks_at("access_point").text
    assert evidence([]).leaks_at("access_point").holds
    asleep = make(awake(0.0, 20.0, but=["access point"])).evidence(0.0, 20.0).leaks_at("access_point")
    assert (asleep.holds, "access point" in asleep.text) == (None, True)
    assert evidence([]).leaks_at("probe").holds is None  # these records have no sign of life of the probe
