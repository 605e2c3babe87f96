"""A failed finding in full: what was expected, what was seen, when, the lamp nearest that moment, the console around it."""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.frames import LampFrames
from hil.core.moments import Moment
from hil.core.run_folder import LegRecord
from hil.core.verdicts import Finding
from hil.sheet.film import film_strip, signed, still
from hil.sheet.pictures import reading_bar
from hil.sheet.wording import Wording, leg_title

AROUND_S = 2.0
MOST_LINES = 24


@dataclass(frozen=True, slots=True)
class ConsoleLine:
    """A line of the console, seconds after the moment it is shown beside."""

    offset: str
    text: str


@dataclass(frozen=True, slots=True)
class Failure:
    """One failed finding, ready to be shown."""

    expected: str
    seen: str
    when: str
    bar: str
    still: str
    still_caption: str
    strip: str
    console: tuple[ConsoleLine, ...]
    console_note: str


def describe_failure(
    finding: Finding, wording: Wording, legs: Sequence[LegRecord], moments: Sequence[Moment], frames: LampFrames
) -> Failure:
    """Gather what the run holds about a finding."""
    at_s = finding.at_s
    picture, caption = _still(frames, at_s)
    lines = [] if at_s is None else _console_around(moments, at_s, wording)
    return Failure(
        expected=wording.plain(finding.promised) + (f": {finding.limits}" if finding.limits else ""),
        seen=wording.plain(finding.seen) + (f" ({finding.reading})" if _adds_reading(finding) else ""),
        when=wording.plain(_when(at_s, legs)),
        bar=reading_bar(finding.reading, finding.limits, finding.verdict) if finding.reading and finding.limits else "",
        still=picture,
        still_caption=caption,
        strip="" if at_s is None else film_strip(frames.within(at_s - AROUND_S, at_s + AROUND_S), at_s),
        console=tuple(lines[:MOST_LINES]),
        console_note=_note(at_s, len(lines)),
    )


def _adds_reading(finding: Finding) -> bool:
    return finding.reading is not None and str(finding.reading) not in finding.seen


def _still(frames: LampFrames, at_s: float | None) -> tuple[str, str]:
    found = None if at_s is None else still(frames, at_s)
    if found is None or at_s is None:
        return "", ""
    picture, frame_s = found
    return picture, f"Lamp at {frame_s:.2f} s ({signed(frame_s - at_s, 2)} s)"


def _when(at_s: float | None, legs: Sequence[LegRecord]) -> str:
    if at_s is None:
        return "over the leg as a whole, at no single moment"
    for number, leg in enumerate(legs, 1):
        if leg.begin_s <= at_s <= leg.end_s:
            where = f"{at_s - leg.begin_s:.2f} s into leg {number}, {leg_title(leg.name).lower()}, take {leg.take}"
            return f"{at_s:.2f} s: {where}"
    return f"{at_s:.2f} s, between legs"


def _console_around(moments: Sequence[Moment], at_s: float, wording: Wording) -> list[ConsoleLine]:
    return [
        ConsoleLine(f"{signed(moment.time_s - at_s, 2)} s", wording.plain(moment.text("text")))
        for moment in moments
        if moment.is_("console", "line") and abs(moment.time_s - at_s) <= AROUND_S
    ]


def _note(at_s: float | None, lines: int) -> str:
    if at_s is None:
        return ""
    if not lines:
        return f"The console was silent for {AROUND_S:g} s before and after."
    more = f"; {lines - MOST_LINES} more lines in console.raw" if lines > MOST_LINES else ""
    return f"Console from {AROUND_S:g} s before to {AROUND_S:g} s after. A claim, not a witness{more}."
