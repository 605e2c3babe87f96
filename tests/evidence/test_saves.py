"""What became of saves: texts shown, networks joined, octets in the air; judged on records made by hand.

Sources: IEEE 802.11-2020, 9.3.3.6 (an association request bears the name of the network, up to 32 octets); WHATWG Infra
(ASCII whitespace, which HTML runs together).
"""

import pytest
from support.forms import form_with
from support.records import UNIT, Made, answered, awake, make, moment, product_with, seeks

from hil.core.moments import Moment
from hil.evidence.saves import SavesView

NAME = "温室 +a%41&b 🌱"
CUT = "温室 +a%41&b "


def saved(time_s: float, purpose: str, **typed: str) -> Moment:
    return moment(time_s, "leg", "saves", purpose=purpose, typed=dict(typed))


def status_with(network: str) -> bytes:
    return f"<!DOCTYPE html><dl><dt>Network</dt><dd>{network}</dd></dl>".encode()


def leg(*more: Moment, pages: dict[str, bytes], asleep: tuple[str, ...] = ()) -> Made:
    """A save at 10 s and the next one at 40 s, with answers."""
    moments = [
        moment(1.0, "leg", "plans saves", purposes=["network 1"]),
        saved(10.0, "network 1", network=NAME, network_key="nk-1234567"),
        answered(10.5, "network 1", "answer"),
        answered(30.0, "form after network 1", "form"),
        answered(31.0, "status after network 1", "status"),
        saved(40.0, "back"),
    ]
    bodies = {"answer": b"<!DOCTYPE html><p>Saved.</p>"} | pages
    return make([*awake(0.0, 60.0, but=asleep), *moments, *more], pages=bodies)


def view(made: Made) -> SavesView:
    return made.evidence(0.0, 60.0).saves


def test_a_text_comes_back_whole_or_the_octets_tell_the_difference() -> None:
    assert view(leg(pages={"form": form_with(network=NAME)})).text_back("network 1").holds is True
    found = view(leg(pages={"form": form_with(network=CUT)})).text_back("network 1")
    assert found.holds is False
    assert NAME.encode().hex(" ") in found.text
    assert CUT.encode().hex(" ") in found.text


def test_a_refused_text_passes_only_where_the_product_file_says_so() -> None:
    made = leg(pages={"form": form_with()})
    moments = [m for m in made.record.moments if m.text("purpose") != "network 1" or m.source == "leg"]
    moments.append(answered(10.5, "network 1", "answer", status=400))
    pages = {"answer": b"<!DOCTYPE html><p>No such sign.</p>", "form": form_with()}
    assert view(make(moments, pages=pages)).text_back("network 1").holds is False
    product = product_with({"form": {"settings": {"network": {"refuses": "[^ -~]"}}}})
    assert view(make(moments, pages=pages, product=product)).text_back("network 1").holds is True
    assert not view(make(moments, pages=pages, product=product)).joined("network 1").promised
    silent = pages | {"answer": b"<!DOCTYPE html>"}
    assert view(make(moments, pages=silent, product=product)).text_back("network 1").holds is False


def test_each_association_request_bears_the_octets_typed() -> None:
    pages = {"form": form_with()}
    good = leg(seeks(20.0, "associates", name=NAME), pages=pages)
    assert view(good).associated_as_typed("network 1").holds is True
    cut = view(leg(seeks(20.0, "associates", name=CUT), pages=pages)).associated_as_typed("network 1")
    assert (cut.holds, CUT.encode().hex(" ") in cut.text) == (False, True)


def test_an_association_of_another_station_or_another_time_is_none_of_this_save() -> None:
    others = (
        seeks(5.0, "associates", name="bench-q7"),
        seeks(20.0, "associates", name=CUT, sender="02:00:00:00:00:99"),
        seeks(45.0, "associates", name="bench-q7"),
        seeks(21.0, "associates", name=NAME),
    )
    assert view(leg(*others, pages={})).associated_as_typed("network 1").holds is True


def test_without_an_association_the_name_looked_for_is_told() -> None:
    found = view(leg(seeks(20.0, name=CUT), pages={})).associated_as_typed("network 1")
    assert (found.holds, CUT.encode().hex(" ") in found.text) == (False, True)
    asleep = view(leg(pages={}, asleep=("air monitor",))).associated_as_typed("network 1")
    assert (asleep.holds, "air monitor asleep" in asleep.text) == (None, True)


def test_joining_counts_from_the_save_to_the_next() -> None:
    lease = {"address": UNIT, "ip": "198.51.100.2"}
    assert view(leg(moment(20.0, "access point", "leased", **lease), pages={})).joined("network 1").holds is True
    assert view(leg(moment(45.0, "access point", "leased", **lease), pages={})).joined("network 1").holds is False
    assert view(leg(pages={}, asleep=("access point",))).joined("network 1").holds is None


@pytest.mark.parametrize(
    ("shown", "holds"),
    [
        (NAME, True),
        (f" {NAME.replace(' ', '  ')}\n", True),
        (NAME.replace("+", " "), False),
        (CUT, False),
        ("none", False),
    ],
)
def test_the_status_page_states_the_name_blanks_run_together(shown: str, holds: bool) -> None:
    made = leg(pages={"status": status_with(shown.replace("&", "&amp;"))})
    assert view(made).status_states_network("network 1").holds is holds


def test_a_save_that_never_came_says_why() -> None:
    gave_up = moment(5.0, "leg", "gave up", why="the unit could not be moved on", instrument="")
    lost, unknown = view(make([gave_up])), view(make([]))
    for asked in ("joined", "text_back", "associated_as_typed", "status_states_network"):
        assert getattr(lost, asked)("network 1").holds is False
        assert getattr(unknown, asked)("network 1").holds is None


def test_one_of_two_answers_must_be_a_success() -> None:
    def of(first: int, second: int) -> bool | None:
        made = make(
            [answered(1.0, "a", "x", status=first), answered(2.0, "b", "x", status=second)], pages={"x": b"<p>"}
        )
        return view(made).one_was_taken("a", "b").holds

    assert [of(200, 503), of(503, 200), of(200, 200), of(503, 503)] == [True, True, True, False]
    assert view(make([answered(1.0, "a", "x")])).one_was_taken("a", "b").holds is None


def test_secrets_typed_in_a_leg_are_searched_for_too() -> None:
    made = leg(pages={"form": form_with() + b"<p>nk-1234567", "answer": b"", "status": b""})
    assert view(made).secrets == {"network_key of network 1": "nk-1234567"}
    found = made.evidence(0.0, 60.0).leaks()["pages"]
    assert (found.holds, "network_key of network 1" in found.text) == (False, True)


def test_an_error_of_the_unit_s_own_is_no_refusal_that_was_promised() -> None:
    """RFC 9110, 15.6: with 5xx the server says that it failed, not that the text will not do."""
    moments = [m for m in leg(pages={}).record.moments if m.text("purpose") != "network 1" or m.source == "leg"]
    moments.append(answered(10.5, "network 1", "answer", status=500))
    product = product_with({"form": {"settings": {"network": {"refuses": "[^ -~]"}}}})
    found = view(make(moments, pages={"answer": b"<!DOCTYPE html><p>Internal error.</p>"}, product=product))
    assert found.text_back("network 1").holds is False
    assert found.joined("network 1").holds is False


def test_a_unit_that_joins_at_once_need_not_join_anew_for_another_setting() -> None:
    joins = product_with({"limits": {"restart_s": None}, "form": {"saved": {"then": "joins"}}})
    page = {"answer": b"<!DOCTYPE html><p>Saved.</p>"}
    left = moment(20.0, "access point", "left", address=UNIT)
    back = moment(30.0, "access point", "leased", address=UNIT, ip="198.51.100.2")

    def joined(*more: Moment, asleep: tuple[str, ...] = (), **typed: str) -> bool | None:
        moments = [*awake(0.0, 60.0, but=asleep), saved(10.0, "edit", **typed), answered(10.5, "edit", "answer"), *more]
        return view(make(moments, pages=page, product=joins)).joined("edit").holds

    assert joined(unit_name="north") is True
    assert joined(left, unit_name="north") is False
    assert joined(left, back, unit_name="north") is True
    assert joined(unit_name="north", asleep=("access point",)) is None
    assert joined(network=NAME) is False
    assert joined(back, network=NAME) is True
