"""As what a unit started after cuts while it was updated: judged on records made by hand; the promise has no outside source."""

from support.forms import form_with
from support.records import TYPED, UNIT, Made, answered, awake, make, moment, power
from support.updated import NEW, OLD, SAVED, status_with

from hil.core.moments import Moment
from hil.evidence.update_cuts import Started, UpdateCutsView, told_of_updates


def cut(number: int, on_s: float, *, octets: int | None = 3000, from_version: str = OLD) -> list[Moment]:
    """A cut of a second, and the unit's supply on again."""
    off_s = on_s - 1.0
    details = {"number": number, "when": "at 10 %", "octets": octets, "of": 30000, "off_s": off_s}
    return [
        power("off", off_s),
        moment(off_s + 0.4, "power", "state", on=False),
        power("on", on_s),
        moment(on_s, "leg", "updating was cut", from_version=from_version, to_version=NEW, **details),
    ]


def leased(time_s: float) -> Moment:
    """The unit in its network."""
    return moment(time_s, "access point", "leased", address=UNIT, ip="198.51.100.2")


def record(
    moments: list[Moment], versions: dict[int, str], settings: dict[str, str] = SAVED, *, asleep: tuple[str, ...] = ()
) -> Made:
    """Cuts with the pages looked at after each, by its number."""
    pages = {f"{number}.status": status_with(version) for number, version in versions.items()}
    looks = [
        look
        for number in versions
        for look in (
            answered(10.0 * number - 2.0, f"status after cut {number}", f"{number}.status"),
            answered(10.0 * number - 2.0, f"settings after cut {number}", "form"),
        )
    ]
    controls = [m for m in awake(0.0, 30.0, but=asleep) if not m.is_("power", "state")]
    return make([*controls, *moments, *looks], pages={**pages, "form": form_with(**settings)})


def view(made: Made) -> UpdateCutsView:
    """What the evidence says of its cuts."""
    return made.evidence(0.0, 30.0, "pages", "access_point", "power").update_cuts()


def after(made: Made) -> list[bool | None]:
    """Whether each cut's outcome is as promised."""
    return [seen.holds for _, seen in view(made).seen_by_cut()]


ONE = [*cut(1, 3.0), leased(6.0)]


def test_old_and_new_are_both_right_and_anything_else_is_not() -> None:
    assert after(record(ONE, {1: OLD})) == [True]
    assert after(record(ONE, {1: NEW})) == [True]
    assert after(record(ONE, {1: "0.0.1"})) == [False]
    assert [o.started for o in view(record(ONE, {1: NEW})).outcomes()] == [Started.NEW]


def test_settings_that_are_gone_fail_it() -> None:
    assert after(record(ONE, {1: OLD}, {**SAVED, "unit_name": "vent"})) == [False]
    assert TYPED["unit_name"] != "vent"


def test_a_unit_that_does_not_come_back_fails_it() -> None:
    left = moment(20.0, "leg", "gave up", why="no lease, and no hotspot", instrument="")
    assert after(record([*cut(1, 3.0), left], {})) == [False]


def test_a_witness_asleep_leaves_it_unjudged() -> None:
    assert after(record(cut(1, 3.0), {1: OLD}, asleep=("access point",))) == [None]
    uncut = [m for m in ONE if not m.is_("power", "state")]
    assert after(record(uncut, {1: OLD})) == [None]
    assert after(record([], {})) == [None]


def test_cuts_that_were_left_do_not_pass_for_those_that_were_made() -> None:
    refused = moment(9.5, "leg", "gave up", why="the image before cut 2 was refused", instrument="")
    assert after(record([*ONE, refused], {1: OLD})) == [True, False]


def test_two_builds_of_one_version_cannot_be_told_apart() -> None:
    same = [*cut(1, 3.0, from_version=NEW), leased(6.0)]
    (outcome,) = view(record(same, {1: NEW})).outcomes()
    assert outcome.started is Started.SAME
    assert outcome.seen.holds is True


def test_in_words() -> None:
    two = [*ONE, *cut(2, 13.0, octets=None), leased(16.0)]
    told = told_of_updates(view(record(two, {1: OLD, 2: NEW})).outcomes())
    assert told == "2 cuts, 1 of them while sending: 1 started the old version, 1 started the new version"
