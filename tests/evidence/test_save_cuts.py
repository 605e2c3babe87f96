"""What a unit held after cuts while it saved: old settings or new, judged on records made by hand.

The promise (old or new, never neither) is that of an atomic save; no outside source.
"""

from collections.abc import Iterator
from html import escape

from support.records import HOTSPOT, TYPED, UNIT, Made, answered, awake, make, moment, product_with

from hil.core.moments import Moment
from hil.core.product import load_product
from hil.evidence.seen import Seen
from hil.virtual import DEMO_PRODUCT

OLD, FIRST, SECOND = TYPED["unit_name"], "vent-4k1", "vent-4kx"
SAVED = {"unit_name": OLD, "opens_at": "27.5", "network": TYPED["network"]}
DEFAULTS = {"unit_name": "vent", "opens_at": "24", "network": ""}


def form_with(values: dict[str, str]) -> bytes:
    """A form of the shipped product with every setting."""

    def boxes() -> Iterator[str]:
        for name, setting in load_product(DEMO_PRODUCT).form.settings.items():
            value = "" if setting.secret else values.get(name, TYPED[name])
            control = setting.control or name
            label = f'<label for="{control}">{escape(setting.label)}</label>' if setting.label else ""
            yield f'{label}<input id="{control}" name="{control}" value="{escape(value)}">'

    return f'<!DOCTYPE html><form method="post" action="/save">{"".join(boxes())}</form>'.encode()


def cut(number: int, on_s: float, value: str) -> Moment:
    return moment(on_s, "leg", "saving was cut", number=number, after_s=0.1, setting="unit_name", value=value)


def leased(time_s: float) -> Moment:
    return moment(time_s, "access point", "leased", address=UNIT, ip="198.51.100.2")


def record(moments: list[Moment], forms: dict[int, dict[str, str]], *, asleep: tuple[str, ...] = ()) -> Made:
    """A leg from 0 to 30 s; `forms` are the forms served 5 s after each cut, by its number; cuts come 10 s apart."""
    served = [answered(10.0 * number - 5.0, f"settings after cut {number}", f"{number}.body") for number in forms]
    pages = {f"{number}.body": form_with(values) for number, values in forms.items()}
    return make([*awake(0.0, 30.0, but=asleep), *moments, *served], pages=pages)


def after_cuts(made: Made) -> list[Seen]:
    return list(made.evidence(0.0, 30.0, "pages", "access_point").after_save_cuts(dict(SAVED)).values())


TWO_CUTS = [cut(1, 1.0, FIRST), leased(4.0), cut(2, 11.0, SECOND), leased(14.0)]


def test_old_settings_are_right_and_so_are_new_ones() -> None:
    seen = after_cuts(record(TWO_CUTS, {1: SAVED, 2: SAVED | {"unit_name": SECOND}}))
    assert [s.holds for s in seen] == [True] * 4
    assert [s.text for s in seen[1::2]] == ["the old ones", "the new ones"]


def test_what_was_new_once_is_the_old_one_of_the_next_cut() -> None:
    new = SAVED | {"unit_name": FIRST}
    assert [s.holds for s in after_cuts(record(TWO_CUTS, {1: new, 2: new}))] == [True] * 4


def test_a_record_of_two_saves_ago_is_neither() -> None:
    seen = after_cuts(record(TWO_CUTS, {1: SAVED | {"unit_name": FIRST}, 2: SAVED}))
    assert [s.holds for s in seen] == [True, True, True, False]
    assert f"unit_name shows {OLD!r}, not {FIRST!r}" in seen[-1].text


def test_defaults_after_a_cut_are_neither() -> None:
    made = record([cut(1, 1.0, FIRST), moment(3.0, "air", "beacon", name=HOTSPOT)], {1: DEFAULTS})
    joined, held = after_cuts(made)
    assert (joined.holds, held.holds) == (False, False)
    assert "unit_name shows 'vent'" in held.text


def test_new_name_beside_other_lost_values_is_neither() -> None:
    seen = after_cuts(record([cut(1, 1.0, FIRST), leased(4.0)], {1: DEFAULTS | {"unit_name": FIRST}}))
    assert [s.holds for s in seen] == [True, False]
    assert "opens_at shows '24', not '27.5'" in seen[1].text


def test_a_unit_that_comes_back_nowhere_fails() -> None:
    gave_up = moment(20.0, "leg", "gave up", why="waited 18.0 s for the unit's lease, or its hotspot")
    seen = after_cuts(record([cut(1, 1.0, FIRST), gave_up], {}))
    assert [s.holds for s in seen] == [False, False]
    assert "waited 18.0 s" in seen[1].text


def test_a_lease_after_the_next_cut_is_not_that_of_the_first() -> None:
    moments = [cut(1, 1.0, FIRST), cut(2, 11.0, SECOND), leased(14.0)]
    seen = after_cuts(record(moments, {1: SAVED, 2: SAVED}))
    assert [s.holds for s in seen] == [False, True, True, True]


def test_a_sleeping_access_point_leaves_the_network_unjudged() -> None:
    joined, held = after_cuts(record([cut(1, 1.0, FIRST)], {1: SAVED}, asleep=("access point",)))
    assert (joined.holds, held.holds) == (None, True)
    assert "access point asleep" in joined.text


def test_a_leg_that_never_cut_does_not_pass() -> None:
    gave_up = moment(3.0, "leg", "gave up", why="the probe could not join")
    assert [s.holds for s in after_cuts(record([gave_up], {}))] == [False]
    assert [s.holds for s in after_cuts(record([], {}))] == [None]


def test_without_a_settings_page_the_network_alone_speaks() -> None:
    made = record([cut(1, 1.0, FIRST), leased(4.0)], {})
    product = product_with({"form": {"connected_path": None}})
    alone = make(made.record.moments, product=product).evidence(0.0, 30.0).after_save_cuts(dict(SAVED))
    assert [s.holds for s in alone.values()] == [True]
