"""Starts one after another, by what began them, on records made by hand. What a start is timed from is the design's."""

from support.records import (
    UNIT,
    Made,
    awake,
    lamp_frames,
    line,
    make,
    moment,
    power,
    product_with,
    start_line,
    states,
    switchings,
)

from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.seen import Seen

VIEWS = ("access_point", "power", "console", "resets")


def begins(number: int, restart: str, time_s: float) -> Moment:
    return moment(time_s, "leg", "starts the unit", number=number, restart=restart)


def leased(time_s: float) -> Moment:
    return moment(time_s, "access point", "leased", doubt_s=0.01, address=UNIT, ip="198.51.100.2")


def by_power(number: int, time_s: float) -> list[Moment]:
    """Off for a second, read back so, and on again."""
    off = moment(time_s + 0.5, "power", "state", on=False)
    return [begins(number, "power", time_s), power("off", time_s), off, power("on", time_s + 1.0)]


def by_reset(number: int, time_s: float) -> list[Moment]:
    pulled = moment(time_s, "console", "reset line", asked_by="reset line")
    return [begins(number, "reset line", time_s), pulled, moment(time_s + 0.4, "console", "reset line released")]


def by_software(number: int, time_s: float) -> list[Moment]:
    asked = moment(time_s, "ledger", "asked", asked_by="form")
    return [asked, begins(number, "software", time_s), start_line(time_s + 2.0, "0xc (SW_CPU_RESET)")]


def record(*moments: Moment, asleep: tuple[str, ...] = ()) -> Made:
    states = {m.time_s for m in moments if m.is_("power", "state")}
    controls = [m for m in awake(0.0, 40.0, but=asleep) if not (m.source == "power" and _close(m.time_s, states))]
    return make([*controls, line(0.5, "hello"), *moments])


def _close(time_s: float, others: set[float]) -> bool:
    return any(abs(time_s - other) < 0.6 for other in others)


def seen(made: Made) -> dict[str, Reading | Seen]:
    evidence = made.evidence(0.0, 40.0, *VIEWS)
    starts = evidence.starts()
    return {
        **starts.by_power(evidence.power),
        **starts.by_reset_line(evidence.console),
        **starts.by_software(evidence.resets),
    }


def test_each_kind_is_timed_from_its_own_begin() -> None:
    moments = [*by_power(1, 3.0), leased(8.0), *by_reset(2, 10.0), leased(14.5), *by_software(3, 20.0), leased(26.2)]
    found = seen(record(*moments))
    assert list(found) == [
        "start 1, by power, at 3.0 s",
        "start 2, by reset line, at 10.0 s",
        "start 3, by software, at 20.0 s",
    ]
    assert [str(reading) for reading in found.values()] == ["4.00 ± 0.02 s", "4.10 ± 0.01 s", "4.20 ± 0.04 s"]


def test_a_lease_after_the_next_start_is_not_that_of_the_first() -> None:
    (first, _) = seen(record(*by_reset(1, 3.0), *by_reset(2, 20.0), leased(25.0))).values()
    assert isinstance(first, Reading)
    assert (first.low > 16.0, first.value, first.because) == (True, None, "")


def test_without_the_access_point_nobody_can_say() -> None:
    (found,) = seen(record(*by_reset(1, 3.0), asleep=("access point",))).values()
    assert isinstance(found, Reading)
    assert "access point asleep" in found.because


def test_a_supply_not_seen_off_started_nothing() -> None:
    moments = [m for m in by_power(1, 3.0) if m.kind != "state"]
    (found,) = seen(record(*moments, leased(8.0))).values()
    assert isinstance(found, Seen)
    assert (found.holds, "power" in found.text) == (None, True)


def test_a_supply_that_went_again_leaves_it_untold() -> None:
    gone = moment(6.0, "power", "state", on=False)
    (found,) = seen(record(*by_power(1, 3.0), gone, leased(8.0))).values()
    assert isinstance(found, Seen)
    assert found.holds is None


def test_a_reset_line_nobody_saw_let_go_is_untold() -> None:
    (found,) = seen(record(begins(1, "reset line", 3.0), leased(8.0))).values()
    assert isinstance(found, Seen)
    assert (found.holds, "console" in found.text) == (None, True)


def test_a_unit_that_never_restarts_after_saving_fails() -> None:
    moments = [m for m in by_software(1, 3.0) if m.source != "console"]
    (found,) = seen(record(*moments)).values()
    assert isinstance(found, Seen)
    assert found.holds is False
    (unheard,) = seen(record(*moments, asleep=("console",))).values()
    assert isinstance(unheard, Seen)
    assert unheard.holds is None


def test_a_silent_chip_started_between_the_order_and_what_its_lamp_shows() -> None:
    """The lamp turns white, for its starting, at 5.5 s: somewhat later than the chip began, by how much nobody knows."""
    moments = [m for m in by_software(1, 3.0) if m.source != "console"]
    made = silent(*moments, leased(9.0), plan=[(-5.0, "green"), (5.5, "white"), (8.0, "green")])
    (found,) = seen(made).values()
    assert isinstance(found, Reading)
    assert 3.4 < found.low <= 3.49
    assert round(found.high, 2) == 6.01


def test_a_silent_chip_whose_lamp_shows_no_start_did_not_restart() -> None:
    moments = [m for m in by_software(1, 3.0) if m.source != "console"]
    (found,) = seen(silent(*moments, plan=[(-5.0, "green")])).values()
    assert isinstance(found, Seen)
    assert found.holds is False


def silent(*moments: Moment, plan: list[tuple[float, str]]) -> Made:
    """A silent console, and a lamp that was dark for a while before all that, with the supply off."""
    switched = switchings(-20.0, 41.0)
    frames = lamp_frames([(-20.0, "off"), *plan], switched, -20.0, 41.0)
    off = [power("off", -20.0), *states(-20.0, -6.0, on=False), power("on", -6.0)]
    product = product_with({"console": {"speaks": False}})
    return make([*awake(-6.0, 40.0), *off, *switched, *moments], frames=frames, product=product)


def test_starts_left_for_want_of_an_instrument_are_not_taken_for_good() -> None:
    gone = moment(30.0, "leg", "gave up", why="its radio is gone", instrument="access point")
    enough = moment(30.0, "leg", "gave up", why="3 of 5 starts did not end in the network", instrument="")
    good = [*by_power(1, 3.0), leased(8.0)]
    assert list(seen(record(*good, enough))) == ["start 1, by power, at 3.0 s"]
    left = seen(record(*good, gone))["the starts that were left"]
    assert isinstance(left, Seen)
    assert (left.holds, "access point" in left.text) == (None, True)
