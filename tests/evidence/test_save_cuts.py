"""What a unit held after cuts while it saved: old settings or new, judged on records made by hand.

The promise (old or new, never neither nor a mixture) is that of an atomic save; no outside source.
"""

from collections.abc import Iterator
from html import escape

from support.records import HOTSPOT, TYPED, UNIT, Made, answered, awake, make, moment, power, product_with

from hil.core.moments import Moment
from hil.core.product import load_product
from hil.evidence.save_cuts import CutOutcome, Held, Phase, SaveCutsView, told_of
from hil.evidence.seen import Seen
from hil.virtual import DEMO_PRODUCT

OLD, FIRST, SECOND = TYPED["unit_name"], "vent-4k1", "vent-4kx"
SAVED = {"unit_name": OLD, "opens_at": "27.5", "network": TYPED["network"]}
DEFAULTS = {"unit_name": "vent", "opens_at": "24", "network": ""}


def form_with(values: dict[str, str]) -> bytes:
    """A form of the shipped product with every setting."""

    def boxes() -> Iterator[str]:
        for name, setting in load_product(DEMO_PRODUCT).form.settings.items():
            value = "" if setting.secret else values.get(name, TYPED.get(name, setting.default or ""))
            control = setting.control or name
            label = f'<label for="{control}">{escape(setting.label)}</label>' if setting.label else ""
            yield f'{label}<input id="{control}" name="{control}" value="{escape(value)}">'

    return f'<!DOCTYPE html><form method="post" action="/save">{"".join(boxes())}</form>'.encode()


def cut(number: int, on_s: float, value: str, **typed: str) -> list[Moment]:
    """A cut of the supply for a second, read back as off within it."""
    details = {"unit_name": value, **typed}
    booked = moment(on_s, "leg", "saving was cut", number=number, after_s=0.1, typed=dict(details), off_s=on_s - 1.0)
    off = moment(on_s - 0.5, "power", "state", on=False)
    return [power("off", on_s - 1.0), off, power("on", on_s), booked]


def leased(time_s: float) -> Moment:
    return moment(time_s, "access point", "leased", address=UNIT, ip="198.51.100.2")


def record(moments: list[Moment], forms: dict[int, dict[str, str]], *, asleep: tuple[str, ...] = ()) -> Made:
    """A leg from 0 to 30 s; `forms` are the forms served 5 s after each cut, by its number; cuts come 10 s apart."""
    served = [answered(10.0 * number - 3.0, f"settings after cut {number}", f"{number}.body") for number in forms]
    pages = {f"{number}.body": form_with(values) for number, values in forms.items()}
    return make([*awake(0.0, 30.0, but=asleep), *moments, *served], pages=pages)


def view(made: Made) -> SaveCutsView:
    return made.evidence(0.0, 30.0, "pages", "access_point", "power").save_cuts()


def after_cuts(made: Made) -> list[Seen]:
    return list(dict(view(made).seen_by_cut(SAVED)).values())


def outcomes(made: Made) -> list[CutOutcome]:
    return list(view(made).outcomes(SAVED))


TWO_CUTS = [*cut(1, 3.0, FIRST), leased(6.0), *cut(2, 13.0, SECOND), leased(16.0)]


def test_old_settings_are_right_and_so_are_new_ones() -> None:
    made = record(TWO_CUTS, {1: SAVED, 2: SAVED | {"unit_name": SECOND}})
    assert [(o.seen.holds, o.held) for o in outcomes(made)] == [(True, Held.OLD), (True, Held.NEW)]


def test_what_was_new_once_is_the_old_one_of_the_next_cut() -> None:
    new = SAVED | {"unit_name": FIRST}
    assert [o.held for o in outcomes(record(TWO_CUTS, {1: new, 2: new}))] == [Held.NEW, Held.OLD]


def test_a_record_of_two_saves_ago_is_neither() -> None:
    found = outcomes(record(TWO_CUTS, {1: SAVED | {"unit_name": FIRST}, 2: SAVED}))
    assert [o.held for o in found] == [Held.NEW, Held.NEITHER]
    assert found[1].seen.holds is False
    assert f"unit_name shows {OLD!r}, not {FIRST!r}" in found[1].seen.text


def test_a_mixture_of_old_and_new_is_neither() -> None:
    moments = [*cut(1, 3.0, FIRST, opens_at="24"), leased(6.0)]
    (found,) = outcomes(record(moments, {1: SAVED | {"unit_name": FIRST}}))
    assert (found.held, found.seen.holds) == (Held.NEITHER, False)


def test_one_fault_is_told_once() -> None:
    """What a form shows after a fault is the old of the next cut."""
    found = outcomes(record(TWO_CUTS, {1: SAVED | {"unit_name": "odd"}, 2: SAVED | {"unit_name": "odd"}}))
    assert [o.held for o in found] == [Held.NEITHER, Held.OLD]


def test_defaults_after_a_cut_are_neither() -> None:
    made = record([*cut(1, 3.0, FIRST), moment(5.0, "air", "beacon", name=HOTSPOT)], {1: DEFAULTS})
    (seen,) = after_cuts(made)
    assert seen.holds is False
    assert "unit_name shows 'vent'" in seen.text


def test_right_settings_in_a_unit_that_does_not_join_are_a_fault() -> None:
    """No page shows the network key: that it is whole, the access point alone can say."""
    (seen,) = after_cuts(record(cut(1, 3.0, FIRST), {1: SAVED}))
    assert (seen.holds, seen.text) == (False, "no address was given")


def test_a_unit_that_comes_back_nowhere_fails() -> None:
    gave_up = moment(20.0, "leg", "gave up", why="waited 18.0 s for the unit's lease, or its hotspot")
    (seen,) = after_cuts(record([*cut(1, 3.0, FIRST), gave_up], {}))
    assert seen.holds is False
    assert "waited 18.0 s" in seen.text


def test_a_lease_after_the_next_cut_is_not_that_of_the_first() -> None:
    moments = [*cut(1, 3.0, FIRST), *cut(2, 13.0, SECOND), leased(16.0)]
    assert [s.holds for s in after_cuts(record(moments, {1: SAVED, 2: SAVED}))] == [False, True]


def test_a_sleeping_access_point_leaves_it_unjudged() -> None:
    (seen,) = after_cuts(record(cut(1, 3.0, FIRST), {1: SAVED}, asleep=("access point",)))
    assert seen.holds is None
    assert "access point asleep" in seen.text


def test_neither_is_neither_whoever_sleeps() -> None:
    (seen,) = after_cuts(record(cut(1, 3.0, FIRST), {1: DEFAULTS}, asleep=("access point",)))
    assert seen.holds is False


def test_a_supply_that_was_not_seen_off_cut_nothing() -> None:
    moments = [m for m in [*cut(1, 3.0, FIRST), leased(6.0)] if not m.is_("power", "state")]
    made = make(moments, pages={})
    (seen,) = after_cuts(made)
    assert seen.holds is None
    assert "power" in seen.text
    assert "not read back as off" in seen.text


def test_a_leg_that_never_cut_does_not_pass() -> None:
    gave_up = moment(3.0, "leg", "gave up", why="the probe could not join")
    assert [s.holds for s in after_cuts(record([gave_up], {}))] == [False]
    assert [s.holds for s in after_cuts(record([], {}))] == [None]


def test_without_a_settings_page_the_network_alone_speaks() -> None:
    made = record([*cut(1, 3.0, FIRST), leased(6.0)], {})
    product = product_with({"form": {"connected_path": None}})
    alone = make(made.record.moments, product=product)
    assert [(s.holds, "address given" in s.text) for s in after_cuts(alone)] == [(True, True)]


def save(kind: str, time_s: float, number: int = 1, **data: float) -> list[Moment]:
    """A save's request sent at a time, after the unit was reached in 0.02 s, and what came of it."""
    purpose = f"save before cut {number}"
    reached = moment(time_s - 0.02, "access point", "reached", took_s=0.02)
    return [reached, moment(time_s, "pages", kind, purpose=purpose, method="POST", url="http://u/", **data)]


def phase(kind: str, sent_s: float) -> tuple[Phase | None, float]:
    (found,) = outcomes(record([*save(kind, sent_s, total_s=0.08), *cut(1, 3.0, FIRST), leased(6.0)], {1: SAVED}))
    return found.phase, round(found.since_sent_s or 0.0, 3)


def test_where_in_the_save_a_cut_came() -> None:
    """The supply goes at 2.0 s; a request that needs 0.02 s to the unit is sent before that."""
    assert phase("silent", 1.99) == (Phase.BEFORE, 0.01)
    assert phase("silent", 1.95) == (Phase.BETWEEN, 0.05)
    assert phase("cut off", 1.95) == (Phase.BETWEEN, 0.05)
    assert phase("answered", 1.9) == (Phase.AFTER, 0.1)
    assert outcomes(record([*cut(1, 3.0, FIRST), leased(6.0)], {1: SAVED}))[0].phase is None
    late = [*save("answered", 1.99, total_s=4.5), *cut(1, 3.0, FIRST), leased(6.0)]
    assert outcomes(record(late, {1: SAVED}))[0].phase is Phase.BEFORE  # by the unit's next life


def test_the_uncut_save_between_the_cuts_changes_what_is_old() -> None:
    """It comes after the first cut; what the form shows after it is what the second cut must leave."""
    measured = {"unit_name": "vent-4k0"}
    booked = [
        moment(7.0, "leg", "saves", purpose="save without a cut", typed=measured),
        answered(9.0, "settings without a cut", "m.body"),
    ]
    served = answered(7.0, "settings after cut 1", "1.body")
    after_second = answered(17.0, "settings after cut 2", "2.body")
    pages = {"1.body": form_with(SAVED), "m.body": form_with(SAVED | measured), "2.body": form_with(SAVED | measured)}
    made = make([*awake(0.0, 30.0), *TWO_CUTS, *booked, served, after_second], pages=pages)
    assert [o.held for o in outcomes(made)] == [Held.OLD, Held.OLD]


def test_in_words() -> None:
    told = told_of(outcomes(record([*save("answered", 1.9, total_s=0.05), *TWO_CUTS], {1: SAVED, 2: DEFAULTS})))
    assert told == "2 cuts: 1 held the old ones, 1 held neither; 1 after the answer"


def test_cuts_that_were_left_do_not_pass_for_those_that_were_made() -> None:
    """After a good first cut the save that measures the others was refused: none of the others came."""
    refused = moment(9.0, "leg", "gave up", why="a save without a cut was refused", instrument="")
    gone = moment(9.0, "leg", "gave up", why="its radio is gone", instrument="access point")
    one_cut = [*cut(1, 3.0, FIRST), leased(6.0)]
    assert [s.holds for s in after_cuts(record(one_cut, {1: SAVED}))] == [True]
    assert [s.holds for s in after_cuts(record([*one_cut, refused], {1: SAVED}))] == [True, False]
    assert [s.holds for s in after_cuts(record([*one_cut, gone], {1: SAVED}))] == [True, None]


def test_cuts_that_all_came_before_the_request_tell_nothing() -> None:
    def told(sent_s: float) -> list[bool | None]:
        moments = [*save("silent", sent_s, total_s=0.08), *cut(1, 3.0, FIRST), leased(6.0)]
        return [seen.holds for seen in after_cuts(record(moments, {1: SAVED}))]

    assert told(1.99) == [True, None]
    assert told(1.9) == [True]
