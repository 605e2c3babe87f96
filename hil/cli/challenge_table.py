"""What `hil challenge` found, as lines of at most 80 columns."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from hil.core.text import count, printable
from hil.judge.challenged import Challenged, Outcome, Rate, never_caught, sums_of

COLUMNS = 80
ROW = "{:<32}{:<10}{:<12}{}"
MOST_SAID = 300  # characters of one difference


def table(units: Sequence[Challenged]) -> Iterator[str]:
    """The table: a row a unit, below it the checks that caught it and every difference."""
    yield ROW.format("unit", "expected", "verdict", "signature")
    yield "─" * COLUMNS
    for unit in units:
        verdict = str(unit.verdict) if unit.verdict is not None else "none"
        again = ", driven again" if unit.runs > max(1, len(unit.takes)) else ""
        yield ROW.format(printable(unit.name), str(unit.right_verdict), verdict, _signature(unit) + again)
        if unit.caught_by:
            yield from _indented("caught by " + ", ".join(_short(seen.check) for seen in unit.caught_by))
        if unit.takes:
            yield from _indented(share_text(unit))
        for difference in unit.differences:
            yield from _indented("≠ " + printable(difference.text)[:MOST_SAID])
        if unit.trouble:
            yield from _indented("≠ " + printable(unit.trouble)[:MOST_SAID])


def _signature(unit: Challenged) -> str:
    return "exact" if unit.exact else "no whole run" if unit.outcome is Outcome.NO_RUN else "differs"


def _short(check: str) -> str:
    return printable(check.rpartition("::")[2].removeprefix("test_"))


def _indented(text: str) -> list[str]:
    return wrap(text, COLUMNS, initial_indent="    ", subsequent_indent="      ")


def sum_lines(units: Sequence[Challenged], took_s: float) -> Iterator[str]:
    """The sums over all units."""
    sums = sums_of(units)
    if sums.bad:
        exact = sum(unit.exact for unit in units if not unit.golden)
        yield f"{sums.caught} of {sums.bad} known-bad units caught, {exact} exactly; {took_s / 60:.1f} min."
        yield from (f"    {line}" for line in _outcomes(units))
        yield f"    {rate_text(sums.missed, 'missed', 'known-bad runs')}"
    if sums.golden:
        passed = sums.outcomes[Outcome.PASSED]
        yield f"{passed} of {sums.golden} golden units passed" + ("." if sums.bad else f"; {took_s / 60:.1f} min.")
        yield f"    {rate_text(sums.false_alarms, 'false alarms', 'golden runs')}"
    if sums.unprovoked.of:
        yield "Of checks with no fault before them:"
        yield f"    {rate_text(sums.unprovoked, 'failed', 'judged')}"


def _outcomes(units: Sequence[Challenged]) -> Iterator[str]:
    for outcome in Outcome:
        names = [printable(unit.name) for unit in units if not unit.golden and unit.outcome is outcome]
        if names:
            told = "" if outcome is Outcome.BY_INTENDED else f": {', '.join(names)}"  # these need a look
            yield from wrap(f"{len(names)} {outcome}{told}", COLUMNS - 4, subsequent_indent="  ")


def rate_text(rate: Rate, what: str, of: str) -> str:
    """`0 false alarms in 12 golden runs: true rate below 22.1 % at 95 %`."""
    if not rate.of:
        return f"no {of}: nothing can be said of {what}"
    return f"{rate.count} {what} in {rate.of} {of}: true rate below {rate.below_percent:.1f} % at 95 %"


def share_text(unit: Challenged) -> str:
    """`caught in 3 of 8 runs: true rate 8.5 to 75.6 % (95 %, Clopper–Pearson)`."""
    share = unit.caught_in
    low, high = share.between_percent
    return f"caught in {share.count} of {share.of} runs: true rate {low:.1f} to {high:.1f} % (95 %, Clopper–Pearson)"


def never_caught_lines(units: Sequence[Challenged], checks: Sequence[str]) -> Iterator[str]:
    """The checks that no fault was ever caught by: each must get a fault, or go."""
    names = never_caught(units, checks)
    yield ""
    if not names:
        yield "Every check has caught something."
        return
    yield f"{count(len(names), 'check')} caught nothing; give each a fault, or take it out:"
    yield from _indented(", ".join(map(_short, names)))
