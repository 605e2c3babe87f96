"""The window of a run that one drive of a leg left: what every view of evidence reads.

Moments are those of the whole run, since a control just before or after the window still speaks for it.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import inf

from hil.core.frames import LampFrames
from hil.core.moments import Json, Moment
from hil.core.product import Product
from hil.core.readings import Occurrence
from hil.lamp.learnt import Learnt
from hil.page.page import Page
from hil.page.read import read_page

Facts = Mapping[str, Mapping[str, Json]]


@dataclass(frozen=True, eq=False)
class Record:
    """Everything a run recorded, readable without a bench."""

    product: Product
    facts: Facts
    moments: tuple[Moment, ...]
    frames: Callable[[], LampFrames]
    page: Callable[[str], bytes]
    console: Callable[[], bytes]
    began: str = ""  # wall clock, as the run's record states it
    learnt: Learnt = field(default_factory=dict)  # the lamp's colours as this camera saw them of golden units
    _read: dict[tuple[bytes, str, str], Page] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def by_kind(self) -> Mapping[tuple[str, str], tuple[Moment, ...]]:
        """Moments by source and kind, in order of time."""
        sorted_by_kind: dict[tuple[str, str], list[Moment]] = {}
        for moment in sorted(self.moments, key=lambda m: m.time_s):
            sorted_by_kind.setdefault((moment.source, moment.kind), []).append(moment)
        return {key: tuple(moments) for key, moments in sorted_by_kind.items()}

    @cached_property
    def fresh_beacons(self) -> tuple[Moment, ...]:
        """Beacons of the whole run, each heard once: a repeated time stamp is a monitor that stands still."""
        fresh, last = [], dict[str, float]()
        for moment in self.by_kind.get(("air", "beacon"), ()):
            sender, stamp = moment.text("bssid"), moment.number("tsf")
            if last.get(sender) != stamp:
                fresh.append(moment)
            last[sender] = stamp
        return tuple(fresh)

    @cached_property
    def fresh_supply_states(self) -> tuple[Moment, ...]:
        """States of the supply read back in the whole run; one with the stamp of an earlier one proves nothing."""
        fresh, newest_s = [], -inf
        for moment in self.by_kind.get(("power", "state"), ()):
            stamp_s = moment.number("stamp_s", inf)  # a supply that cannot tell has no stamp
            if stamp_s > newest_s or stamp_s == inf:
                fresh.append(moment)
            newest_s = stamp_s if stamp_s < inf else newest_s
        return tuple(fresh)

    @cached_property
    def supply_told_s(self) -> tuple[float, ...]:
        """When the supply was switched, or its state read back, in the whole run."""
        switched = (moment for kind in ("on", "off") for moment in self.by_kind.get(("power", kind), ()))
        return tuple(sorted(moment.time_s for moment in (*self.fresh_supply_states, *switched)))

    def answered(self, moment: Moment) -> tuple[bytes, Page]:
        """The body recorded with an answer, and the page in it; the same octets of the same address are read once."""
        body = self.page(moment.text("file")) if moment.text("file") else b""
        told = body, moment.text("content_type"), moment.text("url")
        if told not in self._read:
            self._read[told] = read_page(*told)
        return body, self._read[told]

    def fact(self, section: str, label: str) -> str:
        """A fact of the run as text; empty where it is not stated."""
        value = self.facts.get(section, {}).get(label, "")
        return value if isinstance(value, str) else str(value)

    @property
    def speed(self) -> float:
        """Unit seconds a real second; 1 where the run states none."""
        stated = self.facts.get("bench", {}).get("speed")
        return float(stated) if isinstance(stated, int | float) and stated > 0 else 1.0

    @cached_property
    def hotspot_name(self) -> str:
        """The name this unit's hotspot must have."""
        return self.product.hotspot.name_for(self.fact("unit", "radio address"))

    @property
    def trial_values(self) -> dict[str, str]:
        """What was typed into the form, by setting."""
        values = self.facts.get("trial", {}).get("values", {})
        return {k: str(v) for k, v in values.items()} if isinstance(values, dict) else {}

    @property
    def trial_secrets(self) -> dict[str, str]:
        """The canary secrets, by setting."""
        names = self.facts.get("trial", {}).get("secret_names", [])
        return {n: v for n, v in self.trial_values.items() if isinstance(names, list) and n in names}


@dataclass(frozen=True)
class Window:
    """One drive of one leg."""

    leg: str
    begin_s: float
    end_s: float
    record: Record = field(repr=False)

    def all(self, source: str, *kinds: str) -> tuple[Moment, ...]:
        """Moments of the whole run, of any of those kinds, in order of time."""
        if len(kinds) == 1:
            return self.record.by_kind.get((source, kinds[0]), ())
        found = (m for kind in kinds for m in self.record.by_kind.get((source, kind), ()))
        return tuple(sorted(found, key=lambda m: m.time_s))

    def of(self, source: str, *kinds: str) -> tuple[Moment, ...]:
        """Moments inside the window."""
        found = [m for kind in kinds for m in self.part_of(self.all(source, kind))]  # cut before they are sorted
        return tuple(found if len(kinds) == 1 else sorted(found, key=lambda m: m.time_s))

    def part_of(self, moments: Sequence[Moment], margin_s: float = 0.0) -> Sequence[Moment]:
        """Those, of moments in order of time, that are inside the window or so long before and after it."""
        first = bisect_left(moments, self.begin_s - margin_s, key=lambda m: m.time_s)
        last = bisect_right(moments, self.end_s + margin_s, key=lambda m: m.time_s)
        return moments[first:last]

    def last_before(self, time_s: float, source: str, *kinds: str) -> Moment | None:
        """The last such moment of the run up to a time."""
        found = self.all(source, *kinds)
        at = bisect_right(found, time_s, key=lambda m: m.time_s)
        return found[at - 1] if at else None


def occurrence(moment: Moment) -> Occurrence:
    """When a moment was, with its doubt."""
    return Occurrence.at(moment.time_s, moment.doubt_s)
