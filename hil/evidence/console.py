"""What the unit said on its console: claims, and what should never be said there."""

import re
from collections.abc import Iterator
from functools import cached_property
from math import inf

from hil.core.awake import Asleep, asleep
from hil.core.moments import Moment
from hil.evidence.seen import Seen, absent
from hil.evidence.window import Window

MISSED = 4  # so many tellings that the port is read may fail to come
OVERLAP = 200  # characters of a piece that are looked at again with the next one
TRACE_LINES = 40  # of a crash that are looked at for what it came to
WRITTEN = ("verified", "previous written")  # what the flasher tells once it is done


class ConsoleView:
    """The console over a leg."""

    witness = "console"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window
        self._console = window.record.product.console

    @cached_property
    def lines(self) -> tuple[Moment, ...]:
        """The lines of the leg."""
        return self._window.of("console", "line")

    @cached_property
    def starts(self) -> tuple[Moment, ...]:
        """Lines with which the chip announces a start."""
        return tuple(m for m in self.lines if re.search(self._console.start, m.text("text")))

    @property
    def hidden(self) -> tuple[Moment, ...]:
        """Starts that the console did not announce: a chip announces each."""
        return ()

    @property
    def spoke(self) -> bool:
        """Whether anything was heard."""
        return bool(self.lines)

    @cached_property
    def released(self) -> tuple[Moment, ...]:
        """When the bench let the reset line of the port go."""
        return self._window.of("console", "reset line released")

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches without an open port, with lost output, or after a start that was followed by no line at all.

        The flasher needs the port for itself: what the chip says to it is no console output, so that stretch is none. A
        console that promises to be silent is believed awake only where something was once heard through its wire.
        """
        begin_s, end_s = self._window.begin_s, self._window.end_s
        opened = self._window.last_before(end_s, "console", "opened")
        if opened is None or not (self._console.speaks or self._wire_proved()):
            return [Asleep(begin_s, end_s, woke=False)]
        gaps = [
            *self._closed_before(),
            *self._stretches("lost", "opened"),
            *self._stretches("overrun"),
            *self._stretches("flood", "flood over"),
            *self._unread(),
        ]
        if self._console.speaks:
            gaps += self._mute_stretches()
        return sorted(gaps, key=lambda gap: gap.begin_s)

    def _wire_proved(self) -> bool:
        """Whether octets ever came over this port, by the leg's end: the flasher reads the chip through it, too."""
        heard = (*self._window.all("console", "line"), *self._window.all("flasher", "verified"))
        return any(moment.time_s <= self._window.end_s for moment in heard)

    def _closed_before(self) -> list[Asleep]:
        """The stretch with a port that was closed before the leg already."""
        begin_s, end_s = self._window.begin_s, self._window.end_s
        before = self._window.last_before(begin_s, "console", "opened", "closed")
        if before is None or before.kind == "opened":
            return []
        opened = self._window.of("console", "opened")
        return [Asleep(begin_s, opened[0].time_s if opened else end_s, woke=bool(opened))]

    def _unread(self) -> Iterator[Asleep]:
        """Stretches with the port open and nobody who tells that it is read, where the console promised to tell."""
        listened = [m.time_s for m in self._window.all("console", "listening")]
        changes = self._window.all("console", "opened", "closed")
        for at, opened in enumerate(changes):
            every_s = opened.number("listens_every_s", inf)
            end_s = changes[at + 1].time_s if at + 1 < len(changes) else inf
            first_s, last_s = max(opened.time_s, self._window.begin_s), min(end_s, self._window.end_s)
            if opened.kind == "opened" and first_s < last_s:
                times = sorted([opened.time_s, *listened, *([end_s] if end_s < inf else [])])
                yield from asleep(times, first_s, last_s, MISSED * every_s)

    def _stretches(self, begins: str, ends: str = "") -> list[Asleep]:
        """Stretches of the leg from one kind of moment to another, which may lie before and after it."""
        begin_s, end_s = self._window.begin_s, self._window.end_s
        over = [m.time_s for m in self._window.all("console", ends)]
        found = [
            (m.time_s, min((t for t in over if t >= m.time_s), default=inf))
            for m in self._window.all("console", begins)
        ]
        return [Asleep(max(a, begin_s), min(b, end_s), woke=b < inf) for a, b in found if a < end_s and b > begin_s]

    def _mute_stretches(self) -> list[Asleep]:
        """Stretches of the leg after a start that was followed by no line; the start may have been before the leg."""
        before = self._window.last_before(self._window.begin_s, "power", "on")
        starts = [m.time_s - m.doubt_s for m in self._window.of("power", "on")]  # a line may come within that doubt
        starts = starts or [self._window.begin_s if before is None else before.time_s - before.doubt_s]
        ends = [m.time_s for m in self._window.of("power", "off")]
        spoken = [m.time_s for m in self._window.all("console", "line")]
        mute = []
        for start_s in starts:
            end_s = next((t for t in ends if t > start_s), self._window.end_s)
            if self._given_away(start_s, end_s):
                continue
            if not any(start_s <= t <= end_s for t in spoken):
                mute.append(Asleep(max(start_s, self._window.begin_s), end_s, woke=False))
        return mute

    def _given_away(self, start_s: float, end_s: float) -> bool:
        """Whether the flasher had the port over a stretch of this leg: closed from before it to its end, and a build written."""
        written = any(start_s <= m.time_s <= end_s for m in self._window.of("flasher", *WRITTEN))
        last = self._window.last_before(start_s, "console", "opened", "closed")
        inside = [m for m in self._window.of("console", "opened", "closed") if start_s <= m.time_s <= end_s]
        closed = not inside and last is not None and last.kind == "closed" and last.time_s >= self._window.begin_s
        return written and closed

    def no_crash(self) -> Seen:
        """Whether no line means a crash; of a console that promises to be silent only one that does is a finding."""
        pattern = re.compile("|".join(f"(?:{p})" for p in self._console.crash) or r"(?!)")
        hits = [(m, text[hit.start() :]) for m, text in self._joined() if (hit := pattern.search(text))]
        what = f"crash text {hits[0][1][:60]!r}{self._outcome_of(hits[0][0])}" if hits else "crash text"
        if not hits and not self._console.speaks:
            return Seen.not_promised()
        return absent(tuple(m for m, _ in hits), what, self.asleep, self.witness)

    def _outcome_of(self, crash: Moment) -> str:
        """What a crash came to: the first line after its indented ones, where a traceback names the error."""
        later = [m.text("text") for m in self.lines if m.time_s >= crash.time_s][1:TRACE_LINES]
        ended = next((text for text in later if text.strip() and not text.startswith(" ")), "")
        return f", then {ended[:80]!r}" if ended else ""

    def _joined(self) -> Iterator[tuple[Moment, str]]:
        """Each line, or piece of a long one, after the end of the piece before it: nothing hides in a cut."""
        before = ""
        for moment in self.lines:
            text = before + moment.text("text")
            yield moment, text
            before = text[-OVERLAP:] if moment.data.get("cut") else ""

    def said(self, pattern: str) -> Moment | None:
        """The first line that matches; a claim."""
        return next((m for m in self.lines if re.search(pattern, m.text("text"))), None)
