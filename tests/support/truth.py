"""What really happened in a run on the virtual bench, and how the readings of its checks compare with it.

The world writes its truth apart (`virtual/truth.jsonl`), in real seconds of the host's monotonic clock; one line tells
where the run's clock has its zero. Which line is the truth of an event:

    power on                        the board's supply came on
    lamp shows a stage              the board lit its lamp in that stage's colour, for the first time since
    first beacon of the hotspot     the unit's radio sent it (a hotspot is on the air with its first beacon)
    the unit's first frame …        its radio sent the first probe request
    the hotspot falls silent        the unit's radio went off
    address given                   the message that gave the unit its address was on the air
    the probe joined                the last frame of its handshake was on the air
    the probe got its address       the message that gave it was on the air
    the form was answered           the last octet of the answer was on the air
    page asked, first octet         the dialling of the service, the first octet of the answer were on the air
"""

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import beta

from hil.core.run_folder import RunFolder
from support.recorder import Recorded

WHITE, BLUE, GREEN = [170, 170, 170], [0, 0, 220], [0, 200, 0]
COLOURS = {"lamp shows starting": WHITE, "lamp shows setup": BLUE, "lamp shows connected": GREEN}
HOTSPOT_BIT = 0x04  # what tells the unit's two addresses apart
ASIDE_S = 1e-3  # a leg's begin is booked before its first order is given; both are rounded


@dataclass(frozen=True)
class Line:
    """One line of the truth, in unit seconds on the run's clock."""

    time_s: float
    what: str
    more: Mapping[str, object]


class Truth:
    """The truth of a run."""

    def __init__(self, folder: Path) -> None:
        """Read it."""
        rows = [json.loads(row) for row in (folder / "virtual" / "truth.jsonl").read_text().splitlines()]
        clock = next(row for row in rows if row["what"] == "run clock")
        self.speed: float = clock["speed"]
        lines = (Line((row["t"] - clock["zero_s"]) * self.speed, row["what"], row) for row in rows)
        self.lines = sorted(lines, key=lambda line: line.time_s)
        unit = str(RunFolder(folder).read_info().facts["unit"]["radio address"]).replace(":", "")
        self.unit_address = unit
        self.hotspot_address = f"{int(unit[:2], 16) ^ HOTSPOT_BIT:02x}{unit[2:]}"
        self._pages = [m for m in RunFolder(folder).read_moments() if m.source == "pages"]

    def first(self, what: str, after_s: float, **more: object) -> float:
        """When something happened first after a time.

        Raises:
            LookupError: it never did.
        """
        return self.line(what, after_s, **more).time_s

    def line(self, what: str, after_s: float, **more: object) -> Line:
        """The first line of a kind after a time.

        Raises:
            LookupError: there is none.
        """
        for line in self.lines:
            if line.time_s >= after_s and line.what == what and more.items() <= line.more.items():
                return line
        raise LookupError(f"the truth has no {what} {more} after {after_s:.3f} s")

    def carried(self, what: str, to: object, by_s: float) -> float:
        """When the air carried the last frame or message of a kind to a station, up to a time."""
        return max(
            line.time_s for line in self.lines if line.what == what and line.more["to"] == to and line.time_s <= by_s
        )

    def page(self, leg: Recorded, purpose: str) -> tuple[float, float, float]:
        """When the unit was dialled for a page, the page's first octet came, and its last."""
        asked = [m for m in self._pages if leg.begin_s <= m.time_s <= leg.end_s]
        number = next(at for at, moment in enumerate(asked) if moment.text("purpose") == purpose)
        stream = self._streams_to_the_unit(leg)[number]
        answer = [line.time_s for line in stream if line.more["way"] == "from" and line.more["octets"]]
        return stream[0].time_s, answer[0], answer[-1]

    def _streams_to_the_unit(self, leg: Recorded) -> list[list[Line]]:
        streams: dict[object, list[Line]] = {}
        for line in self.lines:
            if line.what == "stream" and line.more["port"] == 80 and leg.begin_s <= line.time_s <= leg.end_s:
                streams.setdefault(line.more["number"], []).append(line)
        return list(streams.values())

    def of(self, event: str, leg: Recorded, after_s: float) -> float:
        """When an event truly happened, first after a time in a leg.

        Raises:
            LookupError: it did not, or nobody has said yet what its truth is.
        """
        if event in COLOURS:
            return self.first("lamp", after_s, rgb=COLOURS[event])
        purpose, colon, part = event.partition(": ")
        if colon:
            return self.page(leg, purpose)[("asked", "first octet").index(part)]
        return EVENTS[event](self, leg, after_s)


def _simply(what: str, **more: object) -> Callable[[Truth, Recorded, float], float]:
    return lambda truth, _leg, after_s: truth.first(what, after_s, **more)


def _address_given(truth: Truth, leg: Recorded, after_s: float) -> float:
    return truth.carried("dhcp", truth.unit_address, truth.first("leased", after_s))


def _probe_joined(truth: Truth, leg: Recorded, after_s: float) -> float:
    return truth.carried("data frame", truth.hotspot_address, truth.first("hotspot: station joined", after_s))


def _probe_leased(truth: Truth, leg: Recorded, after_s: float) -> float:
    given = truth.line("hotspot: leased", after_s)
    messages = [line.time_s for line in truth.lines if line.what == "dhcp" and line.more["to"] == given.more["address"]]
    return min(messages, key=lambda time_s: abs(time_s - given.time_s))


def _last_power_on(truth: Truth, leg: Recorded, _after_s: float) -> float:
    times = [line.time_s for line in truth.lines if line.what == "power" and line.more["on"]]
    return max(time_s for time_s in times if leg.begin_s - ASIDE_S <= time_s <= leg.end_s)


EVENTS: Mapping[str, Callable[[Truth, Recorded, float], float]] = {
    "power on": _last_power_on,
    "the unit's first frame to a network": _simply("seeks"),
    "first beacon of the hotspot": _simply("first beacon"),
    "the hotspot falls silent": _simply("hotspot down"),
    "address given": _address_given,
    "the probe joined the hotspot": _probe_joined,
    "the probe got its address": _probe_leased,
    "the form was answered": lambda truth, leg, _after_s: truth.page(leg, "save")[2],
}


@dataclass(frozen=True)
class Compared:
    """A reading beside the truth, in unit seconds."""

    reading: Recorded
    truth_s: float
    first_error_s: float
    then_error_s: float

    @property
    def kind(self) -> str:
        """What was timed."""
        return f"{self.reading.first} → {self.reading.then}"

    @property
    def contains(self) -> bool:
        """Whether the reading's interval holds the truth."""
        return self.reading.low <= self.truth_s <= self.reading.high

    @property
    def measured(self) -> bool:
        """Whether the reading is measured: a mere bound, since a witness was asleep, has no doubt of an instrument."""
        return not self.reading.because and math.isfinite(self.doubt_s)

    @property
    def doubt_s(self) -> float:
        """The reading's half-width."""
        return (self.reading.high - self.reading.low) / 2.0

    @property
    def error_s(self) -> float:
        """How far the middle of the interval is from the truth."""
        return (self.reading.high + self.reading.low) / 2.0 - self.truth_s


def compare(folder: Path, readings: Path) -> Iterator[Compared]:
    """Hold each recorded reading of a run against the truth."""
    truth = Truth(folder)
    for row in readings.read_text(encoding="utf-8").splitlines():
        reading = Recorded(**json.loads(row))
        first_s = truth.of(reading.first, reading, reading.begin_s)
        then_s = truth.of(reading.then, reading, first_s)
        yield Compared(reading, then_s - first_s, _off(reading.first_seen, first_s), _off(reading.then_seen, then_s))


def _off(seen: Sequence[float] | None, truth_s: float) -> float:
    return (seen[0] + seen[1]) / 2.0 - truth_s if seen else math.nan


@dataclass(frozen=True)
class Honesty:
    """How honest the doubts of some readings are; mere bounds must hold the truth too, and have no doubt to weigh."""

    readings: int
    measured: int
    containing: int
    median_doubt_s: float
    error_95_s: float

    @property
    def coverage(self) -> float:
        """Share of the readings whose interval holds the truth."""
        return self.containing / self.readings

    @property
    def coverage_95(self) -> tuple[float, float]:
        """Two-sided 95 % interval of the coverage (Clopper and Pearson, Biometrika 26, 1934)."""
        n, k = self.readings, self.containing
        low = float(beta.ppf(0.025, k, n - k + 1)) if k else 0.0
        high = float(beta.ppf(0.975, k + 1, n - k)) if k < n else 1.0
        return low, high

    @property
    def ratio(self) -> float:
        """Median doubt over the 95th percentile of the true errors: above 2 the doubts are padded."""
        return self.median_doubt_s / self.error_95_s


def honesty(compared: Sequence[Compared]) -> Honesty:
    """Count how many readings hold the truth, and weigh their doubts against their true errors."""
    measured = [one for one in compared if one.measured]
    return Honesty(
        len(compared),
        len(measured),
        sum(one.contains for one in compared),
        float(np.median([one.doubt_s for one in measured])) if measured else math.nan,
        float(np.percentile([abs(one.error_s) for one in measured], 95.0)) if measured else math.nan,
    )
