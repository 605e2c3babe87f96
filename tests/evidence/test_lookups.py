"""What evidence says of the probe's questions for names: answered right, late, wrong, not at all, or nobody can say.

What an answer must be is RFC 1035's (the question repeated, error 0) and RFC 5452's (9.1: number and question match).
"""

import pytest
from support.records import Made, answered, awake, make, moment

from hil.core.moments import Json, Moment
from hil.core.readings import Reading
from hil.evidence.lookups import LookupsView
from hil.evidence.stations import ProbeView

BEGIN_S, END_S = 10.0, 30.0
OWN, NAME = "203.0.113.1", "captive.example.com"
GOOD: dict[str, Json] = {"matches": True, "status": 0, "answers": 1, "addresses": [OWN]}
ALIVE = [moment(9.0 + n / 2, "probe", "answering") for n in range(46)]


def question(at_s: float, number: int = 1, name: str = NAME, kind: str = "A") -> Moment:
    return moment(at_s, "probe", "asks for a name", doubt_s=0.01, number=number, name=name, type=kind, server=OWN)


def answer(at_s: float, number: int = 1, **said: Json) -> Moment:
    data = dict(GOOD) | said
    return Moment(at_s, 0.01, "probe", "name answered", {"number": number, "name": NAME, "type": "A", **data})


def silence(at_s: float, number: int = 1) -> Moment:
    return moment(at_s, "probe", "name unanswered", doubt_s=0.01, number=number, name=NAME, type="A")


def view(*moments: Moment, alive: bool = True) -> LookupsView:
    window = make([*moments, *(ALIVE if alive else [])]).window(BEGIN_S, END_S)
    return LookupsView(window, ProbeView(window))


def leads(*moments: Moment, alive: bool = True) -> tuple[bool | None, str]:
    (seen,) = view(*moments, alive=alive).lead_to(OWN, [NAME]).values()
    return seen.holds, seen.text


def took(*moments: Moment) -> Reading:
    (reading,) = view(*moments).times([(NAME, "A")]).values()
    assert isinstance(reading, Reading)
    return reading


def test_a_name_at_the_unit_s_address_leads_there() -> None:
    assert leads(question(11.0), answer(11.1)) == (True, OWN)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"addresses": ["203.0.113.2"]}, "203.0.113.2"),
        ({"addresses": [OWN, "198.51.100.9"]}, "198.51.100.9"),
        ({"addresses": [], "answers": 0}, "0 records"),
        ({"status": 3}, "error 3"),
        ({"matches": False}, "another question"),
        ({"trouble": "an answer that cannot be read: cut short", "matches": None}, "cannot be read"),
    ],
)
def test_any_other_answer_does_not(said: dict[str, Json], told: str) -> None:
    holds, text = leads(question(11.0), answer(11.1, **said))
    assert (holds, told in text) == (False, True)


def test_silence_counts_only_before_an_awake_probe() -> None:
    assert leads(question(11.0), silence(12.0)) == (False, "no answer")
    holds, text = leads(question(11.0), silence(12.0), alive=False)
    assert (holds, "probe asleep" in text) == (None, True)


def test_what_was_not_recorded_is_untold_and_names_the_probe() -> None:
    for moments in ((), (question(11.0),), (answer(11.1),), (question(11.0, 1), answer(11.1, 2))):
        holds, text = leads(*moments)
        assert (holds, "probe" in text) == (None, True)


def test_who_was_never_let_in_could_not_ask() -> None:
    assert leads(moment(10.5, "leg", "gave up", why="the probe could not join 'mossgate-a731'"))[0] is False
    gone = moment(10.5, "leg", "gave up", why="its radio is gone.", instrument="probe")
    assert leads(gone)[0] is None


def test_of_a_name_asked_for_twice_the_last_counts() -> None:
    assert leads(question(11.0, 1), answer(11.1, 1), question(12.0, 2), silence(13.0, 2))[0] is False


def test_an_answer_takes_from_the_question_to_it_less_the_bench_s_own_lag() -> None:
    reading = took(question(11.0), answer(11.4))
    assert (reading.low, reading.high) == (pytest.approx(0.39), pytest.approx(0.40))
    at_once = took(question(11.0), answer(11.004))
    assert (at_once.low, at_once.high) == (0.0, pytest.approx(0.004))


def test_no_answer_takes_longer_than_it_was_waited_for() -> None:
    reading = took(question(11.0), silence(12.0))
    assert (reading.low, reading.value) == (pytest.approx(1.0), None)


@pytest.mark.parametrize(
    ("said", "holds"),
    [
        ({"answers": 0, "addresses": []}, True),
        ({"answers": 1, "addresses": []}, False),  # a record of that kind
        ({"answers": 1, "addresses": [OWN]}, False),  # an address that nobody asked for
        ({"answers": 0, "addresses": [], "status": 4}, False),  # "not implemented": some ask again and again
    ],
)
def test_another_kind_is_answered_with_nothing(said: dict[str, Json], holds: bool) -> None:
    (seen,) = view(question(11.0, kind="AAAA"), answer(11.1, **said)).say_nothing(NAME, ["AAAA"]).values()
    assert seen.holds is holds


def leased(**told: Json) -> Made:
    lease = Moment(11.0, 0.01, "probe", "leased", {"ip": "203.0.113.2", **told})
    return make([*awake(9.0, 31.0), *ALIVE, lease, answered(12.0, "form", "")])


def test_the_lease_tells_router_and_name_server() -> None:
    """RFC 2132, 3.5 and 3.8."""
    both = leased(router=OWN, name_server=OWN).evidence(BEGIN_S, END_S, "probe").lease_names()
    assert {what: seen.holds for what, seen in both.items()} == {"router": True, "name server": True}
    none = leased(router=OWN, name_server="").evidence(BEGIN_S, END_S, "probe").lease_names()
    assert (none["router"].holds, none["name server"].holds, none["name server"].text) == (True, False, "none told")
    other = leased(router="203.0.113.9", name_server=OWN).evidence(BEGIN_S, END_S, "probe").lease_names()
    assert (other["router"].holds, other["router"].text) == (False, "203.0.113.9")


def test_without_a_lease_nothing_was_told() -> None:
    failed = make([moment(11.0, "probe", "join failed", why="not found")]).evidence(BEGIN_S, END_S, "probe")
    assert {seen.holds for seen in failed.lease_names().values()} == {False}
    unknown = make([]).evidence(BEGIN_S, END_S, "probe").lease_names()
    assert {(seen.holds, "probe" in seen.text) for seen in unknown.values()} == {(None, True)}
