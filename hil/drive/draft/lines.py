"""What a console said, as the patterns of a product file: pure, from lines and the times they came at."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hil.core.moments import Moment
from hil.core.product import StageName

NEAR_S = 1.5  # a line this near to a stage's begin may tell it
UNREADABLE_SHARE = 0.3  # of lines with octets that are no text: the rate is likely another
# Words of lines that tell a stage; from memory, no source.
STAGE_WORDS: Mapping[StageName, str] = {
    "starting": r"start|boot|init",
    "joining": r"join|connecting|associat|search|scan",
    "setup": r"set ?up|hotspot|config|portal|provision|\bap\b",
    "connected": r"connected|got ip|online|address",
}


@dataclass(frozen=True)
class Said:
    """Lines of one start: when the supply came on, and what followed until it went off."""

    on_s: float
    lines: tuple[Moment, ...]


def readable(lines: Sequence[Moment]) -> bool:
    """Whether the lines look like text at the right rate."""
    odd = [line for line in lines if re.search(r"\\x[0-9a-f]{2}|\x00", line.text("text"))]
    return len(odd) <= UNREADABLE_SHARE * len(lines)


def start_pattern(starts: Sequence[Said], usual: str) -> tuple[str, bool]:
    """A pattern that one line after each power on has; and whether it is the usual one.

    Else the first line that came after every power on, once each time; empty where there is none.
    """
    if starts and all(any(re.search(usual, line.text("text")) for line in said.lines) for said in starts):
        return usual, True
    texts = [[line.text("text").strip() for line in said.lines] for said in starts]
    first = next((t for t in texts[0] if t and all(other.count(t) == 1 for other in texts)), "") if texts else ""
    return literal(first), False


def version_pattern(lines: Sequence[Moment], version: str) -> str | None:
    """A pattern with the version as its group, from the first line that says the version given."""
    for line in lines if version else ():
        before, found, after = line.text("text").partition(version)
        if found:
            words = re.sub(r".*(?:^|\s)\W*[\d:.,]+\W*(?=\s)", "", before).split(" ")[-3:]  # without a time in front
            end = after[:1]
            group = r"(\S+)" if not end or end.isspace() else f"([^{literal(end)}\\s]+)"
            return literal(" ".join(words)) + group + literal(end.strip())
    return None


def stage_patterns(
    starts: Sequence[Said], begins_s: Mapping[StageName, Sequence[float]], own: Sequence[str]
) -> dict[StageName, str]:
    """For each stage the line that came near every one of its begins and has one of its words.

    Lines with `own` texts, of this unit or this run alone, are no pattern for others.
    """
    said_by_all = [line for said in starts for line in said.lines]
    lines = [line for line in said_by_all if not any(text and text in line.text("text") for text in own)]
    found: dict[StageName, str] = {}
    for stage, times_s in begins_s.items():
        near = [_near(lines, time_s, STAGE_WORDS.get(stage, r"(?!)")) for time_s in times_s]
        common = [text for text in near[0] if all(text in other for other in near)] if near else []
        fresh = [text for text in common if literal(text) not in found.values()]
        if fresh:
            found[stage] = literal(fresh[0])
    return found


def _near(lines: Sequence[Moment], time_s: float, words: str) -> list[str]:
    close = [line for line in lines if abs(line.time_s - time_s) <= NEAR_S]
    close.sort(key=lambda line: abs(line.time_s - time_s))
    return [text for line in close if re.search(words, text := line.text("text").strip(), re.IGNORECASE)]


def literal(text: str) -> str:
    """A pattern that finds a text as it stands; only what must be escaped is."""
    return re.sub(r"([.^$*+?{}\[\]\\|()])", r"\\\1", text)
