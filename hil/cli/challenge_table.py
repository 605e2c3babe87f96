"""What `hil challenge` found, as lines of at most 80 columns."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap

from hil.core.text import printable
from hil.core.verdicts import Verdict
from hil.judge.signature import Difference

COLUMNS = 80
ROW = "{:<28}{:<10}{:<12}{}"
MOST_SAID = 300  # characters of one difference


@dataclass(frozen=True, slots=True)
class Challenged:
    """One unit and what its run came to.

    `caught_by` are the checks that failed; `differences` say in what the run is not what was expected; `trouble` why it
    is no whole run, where it is none. `runs` counts how often it was driven.
    """

    name: str
    golden: bool
    verdict: Verdict | None
    caught_by: tuple[str, ...] = ()
    differences: tuple[Difference, ...] = ()
    trouble: str = ""
    runs: int = 1

    @property
    def expected(self) -> Verdict:
        """The right verdict."""
        return Verdict.PASS if self.golden else Verdict.FAIL

    @property
    def caught(self) -> bool:
        """Whether the verdict is the right one."""
        return self.verdict is self.expected and not self.trouble

    @property
    def exact(self) -> bool:
        """Whether everything is as expected."""
        return self.caught and not self.differences

    @property
    def slept(self) -> bool:
        """Whether nothing but sleeping witnesses keeps it from being as expected: another run may tell."""
        return bool(self.differences) and not self.trouble and all(d.slept for d in self.differences)

    @property
    def complaints(self) -> tuple[str, ...]:
        """Everything that is not as expected, in words."""
        return (*(printable(d.text) for d in self.differences), *([printable(self.trouble)] if self.trouble else []))


def table(units: Sequence[Challenged]) -> Iterator[str]:
    """The table: a row a unit, below it the checks that caught it and every difference."""
    yield ROW.format("unit", "expected", "verdict", "signature")
    yield "─" * COLUMNS
    for unit in units:
        verdict = str(unit.verdict) if unit.verdict is not None else "none"
        signature = "exact" if unit.exact else "differs" if not unit.trouble else "no whole run"
        again = ", driven again" if unit.runs > 1 else ""
        yield ROW.format(unit.name, str(unit.expected), verdict, signature + again)
        if unit.caught_by:
            yield from _indented("caught by " + ", ".join(_short(check) for check in unit.caught_by))
        for text in unit.complaints:
            yield from _indented("≠ " + text[:MOST_SAID])


def _short(check: str) -> str:
    return check.rpartition("::")[2].removeprefix("test_")


def _indented(text: str) -> list[str]:
    return wrap(text, COLUMNS, initial_indent="    ", subsequent_indent="      ")


def summary(units: Sequence[Challenged], took_s: float) -> str:
    """One line over all units."""
    bad = [unit for unit in units if not unit.golden]
    golden = [unit for unit in units if unit.golden]
    parts = []
    if bad:
        caught, exact = sum(unit.caught for unit in bad), sum(unit.exact for unit in bad)
        parts.append(f"{caught} of {len(bad)} known-bad units caught, {exact} exactly")
    if golden:
        parts.append(f"{sum(unit.exact for unit in golden)} of {len(golden)} golden units passed")
    return f"{'; '.join(parts)}; {took_s / 60:.1f} min."
