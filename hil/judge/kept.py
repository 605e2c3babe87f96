"""What a judging leaves for a later one under other limits: each check's readings, and what its verdict rests on beside them.

Plain values that go to `readings.json` and come back. An end of an interval that is infinite is left out.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite

from pydantic import TypeAdapter, ValidationError

from hil.core.product import Product
from hil.core.readings import Reading
from hil.core.run_folder import RunInfo
from hil.core.verdicts import Finding, Verdict
from hil.judge.results import Basis, CheckResult

KEPT_FILE = "readings.json"


@dataclass(frozen=True, slots=True)
class KeptFinding:
    """A finding without its words but the promise's; `low` and `high` are those of its reading, where it has one."""

    verdict: Verdict
    promised: str
    limit: str = ""
    unit: str | None = None
    low: float | None = None
    high: float | None = None
    because: str = ""
    retakable: bool = False
    each: "tuple[KeptFinding, ...]" = ()

    @property
    def finding(self) -> Finding:
        """As the decision rule takes it."""
        each = tuple(kept.finding for kept in self.each)
        reading = None
        if self.unit is not None:
            low, high = -inf if self.low is None else self.low, inf if self.high is None else self.high
            reading = Reading(low, high, self.unit, self.because)
        return Finding(self.verdict, self.promised, "", reading, retakable=self.retakable, limit=self.limit, each=each)


@dataclass(frozen=True, slots=True)
class KeptCheck:
    """A check: its verdict, and the parts of its basis."""

    name: str
    verdict: Verdict
    takes: tuple[tuple[KeptFinding, ...], ...]
    held_up_s: tuple[float, ...]
    ended: Verdict | None = None
    unread: tuple[str, ...] = ()
    promises: tuple[str, ...] = ()

    @property
    def basis(self) -> Basis:
        """As it was when it was judged."""
        takes = tuple(tuple(kept.finding for kept in take) for take in self.takes)
        return Basis(takes, self.held_up_s, self.ended, self.unread, self.promises)


@dataclass(frozen=True, slots=True)
class KeptRun:
    """A judging: the run's name and verdict, whether the bench broke, the product file, what views read of it, the checks.

    `partial`: some checks of the profile were not wanted.
    """

    run: str
    verdict: Verdict
    broken: bool
    product: dict[str, object]
    promises: tuple[str, ...]
    checks: tuple[KeptCheck, ...]
    partial: bool = False


_RUN = TypeAdapter(KeptRun)


def kept_run(
    info: RunInfo,
    verdict: Verdict,
    results: Sequence[CheckResult],
    product: Product,
    views_read: Iterable[str],
    *,
    broken: bool,
) -> KeptRun:
    """What is kept of a judging; `views_read` are the keys that views read of the product file."""
    checks, read = tuple(_check(result) for result in results), tuple(sorted(views_read))
    return KeptRun(info.sheet_number, verdict, broken, promises_of(product), read, checks, info.partial)


def promises_of(product: Product) -> dict[str, object]:
    """All promises of a product file, by key."""
    told: dict[str, object] = product.model_dump(mode="json")
    return told


def to_json(kept: KeptRun) -> bytes:
    """As the file holds it."""
    return _RUN.dump_json(kept, exclude_defaults=True)


def from_json(text: bytes) -> KeptRun:
    """Read what `to_json` wrote.

    Raises:
        ValueError: it is none.
    """
    try:
        return _RUN.validate_json(text)
    except ValidationError as error:
        raise ValueError(f"{error.error_count()} faults, the first: {error.errors()[0]['msg']}") from error


def _check(result: CheckResult) -> KeptCheck:
    basis = result.basis
    takes = tuple(tuple(_finding(finding) for finding in _own(take)) for take in basis.takes)
    return KeptCheck(result.name, result.verdict, takes, basis.held_up_s, basis.ended, basis.unread, basis.promises)


def _own(take: Sequence[Finding]) -> list[Finding]:
    """The findings of a take, without those that stand for one of a set beside the set's own."""
    of_sets = {id(part) for finding in take for part in finding.each}
    return [finding for finding in take if id(finding) not in of_sets]


def _finding(finding: Finding) -> KeptFinding:
    reading = finding.reading if not finding.each else None
    return KeptFinding(
        verdict=finding.verdict,
        promised=finding.promised,
        limit=finding.limit,
        unit=reading.unit if reading else None,
        low=reading.low if reading and isfinite(reading.low) else None,
        high=reading.high if reading and isfinite(reading.high) else None,
        because=reading.because if reading else "",
        retakable=finding.retakable,
        each=tuple(_finding(part) for part in finding.each),
    )


def changed_keys(before: Mapping[str, object], after: Mapping[str, object], under: str = "") -> list[str]:
    """The keys at which two product files differ: the smallest tables that only one has, and the values that are not the same."""
    changed = []
    for name in sorted(before.keys() | after.keys()):
        key, one, other = f"{under}{name}", before.get(name), after.get(name)
        if isinstance(one, dict) and isinstance(other, dict):
            changed += changed_keys(one, other, f"{key}.")
        elif one != other:
            changed.append(key)
    return changed
