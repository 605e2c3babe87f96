"""Starts by power, reset line and software, and starts cut short: the unit is connected again in time, settings whole."""

from hil_acceptance.steady import judge_steady
from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.core.readings import Reading
from hil.evidence.events import Leased, PowerOn
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.seen import Seen
from hil.judge.judge import Judge
from hil.judge.needs import needs
from hil.judge.statistics import percentile_over_median, spread_statement

INTO_NETWORK = ["starting", "joining", "connected"]


def judge_starts(starts: dict[str, Reading | Seen], what: str, product: Product, judge: Judge) -> None:
    """Judge the time to an address of each start, and say how the times spread."""
    readings = [reading for reading in starts.values() if isinstance(reading, Reading)]
    judge.all_within(product.limits.connected_s, starts, what, spread_statement(readings))


@needs("access_point", "power")
def test_connected_in_time_after_every_power_on(power_cycles: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time after every start by power."""
    starts = power_cycles.starts().by_power(power_cycles.power)
    judge_starts(starts, "power on → address given", product, judge)


@needs("access_point", "console")
def test_connected_in_time_after_every_reset(power_cycles: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time after every start by the reset line."""
    starts = power_cycles.starts().by_reset_line(power_cycles.console)
    judge_starts(starts, "reset line let go → address given", product, judge)


@needs("access_point", "resets")
def test_connected_in_time_after_every_software_restart(
    power_cycles: LegEvidence, product: Product, judge: Judge
) -> None:
    """The unit is connected in time after every restart by software."""
    if product.form.connected_path is None:
        judge.not_promised("settings page when connected")
        return
    starts = power_cycles.starts().by_software(power_cycles.resets)
    judge_starts(starts, "restart → address given", product, judge)


@needs("access_point", "power", "console", "resets")
def test_restarts_take_alike(power_cycles: LegEvidence, product: Product, judge: Judge) -> None:
    """The time to an address hardly depends on what started the unit, and on which start it is."""
    promised = product.restarts.spread
    if promised is None:
        judge.not_promised("starts that take alike")
        return
    starts = power_cycles.starts()
    timed = {
        **starts.by_power(power_cycles.power),
        **starts.by_reset_line(power_cycles.console),
        **starts.by_software(power_cycles.resets),
    }
    readings = [reading for reading in timed.values() if isinstance(reading, Reading)]
    untimed = next((seen for seen in timed.values() if isinstance(seen, Seen)), None) or _unsure(readings)
    judge.alike(percentile_over_median(readings), promised, untimed, spread_statement(readings))


def _unsure(readings: list[Reading]) -> Seen | None:
    """Why one of the readings is no more than a bound, where a witness slept."""
    return next((Seen.untold(reading.because) for reading in readings if reading.because), None)


@needs("pages")
def test_settings_outlive_every_start(power_cycles: LegEvidence, product: Product, judge: Judge) -> None:
    """The settings are as saved after all the starts."""
    if product.form.connected_path is None:
        judge.not_promised("settings page when connected")
        return
    shown = power_cycles.pages.shows("settings after the starts", saved_values(power_cycles, product))
    judge.holds(shown, "settings as saved")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_over_starts(power_cycles: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself over all the starts."""
    judge_steady(power_cycles, judge)


def judge_cut(cut: LegEvidence, was_cut: Seen, product: Product, judge: Judge) -> None:
    """Judge that the supply was cut when it was to be, and that the settings are whole after it."""
    if product.form.connected_path is None:
        judge.not_promised("settings page when connected")
        return
    judge.holds(was_cut, "the supply was cut")
    judge.holds(cut.pages.shows("settings", saved_values(cut, product)), "settings as saved")


@needs("access_point", "power")
def test_connected_in_time_after_start_was_cut(cut_while_starting: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time after a start that was cut short."""
    judge.holds(cut_while_starting.power.was_cut(), "the supply was cut")
    reading = cut_while_starting.between(PowerOn, Leased)
    judge.within(product.limits.connected_s, reading, "power on for good → address given")


@needs("pages", "power")
def test_settings_outlive_a_start_cut_short(cut_while_starting: LegEvidence, product: Product, judge: Judge) -> None:
    """The settings are as saved after a start that was cut short."""
    judge_cut(cut_while_starting, cut_while_starting.power.was_cut(), product, judge)


@needs("lamp", "power")
def test_lamp_order_after_start_was_cut(cut_while_starting: LegEvidence, judge: Judge) -> None:
    """The lamp shows starting, joining, connected after a start that was cut short."""
    judge.holds(cut_while_starting.lamp_order_since(PowerOn, INTO_NETWORK), "lamp: " + " → ".join(INTO_NETWORK))


@needs("resets", "console", "power")
def test_no_crash_nor_unasked_reset_after_start_was_cut(cut_while_starting: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself after a start that was cut short."""
    judge.holds(cut_while_starting.power.was_cut(), "the supply was cut")
    judge_steady(cut_while_starting, judge)


@needs("access_point", "power", "air")
def test_connected_in_time_after_joining_was_cut(
    cut_while_joining: LegEvidence, product: Product, judge: Judge
) -> None:
    """The unit is connected in time after its joining was cut short."""
    judge.holds(cut_while_joining.joining_was_cut(), "the supply was cut while joining")
    reading = cut_while_joining.between(PowerOn, Leased)
    judge.within(product.limits.connected_s, reading, "power on for good → address given")


@needs("pages", "power", "air")
def test_settings_outlive_joining_cut_short(cut_while_joining: LegEvidence, product: Product, judge: Judge) -> None:
    """The settings are as saved after joining was cut short."""
    judge_cut(cut_while_joining, cut_while_joining.joining_was_cut(), product, judge)


@needs("lamp", "power")
def test_lamp_order_after_joining_was_cut(cut_while_joining: LegEvidence, judge: Judge) -> None:
    """The lamp shows starting, joining, connected after joining was cut short."""
    judge.holds(cut_while_joining.lamp_order_since(PowerOn, INTO_NETWORK), "lamp: " + " → ".join(INTO_NETWORK))


@needs("resets", "console", "power")
def test_no_crash_nor_unasked_reset_after_joining_was_cut(cut_while_joining: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself after its joining was cut short."""
    judge.holds(cut_while_joining.power.was_cut(), "the supply was cut")
    judge_steady(cut_while_joining, judge)
