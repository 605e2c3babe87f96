"""Colours of the sheet, in one place: HTML, PDF and pictures take them from here.

A verdict is never told by colour alone: its word and its shape stand beside it. `TEXT_PAIRS` lists every pair of ink and
ground that carries text, `MARK_PAIRS` those that carry a mark that has meaning; WCAG 2.2 asks 4.5:1 of the first (1.4.3)
and 3:1 of the second (1.4.11).
"""

from dataclasses import dataclass

from hil.core.verdicts import Verdict

PAPER = "#ffffff"
WASH = "#f2f4f5"
INK = "#1a2025"
MUTED = "#49535b"
RULE = "#b4bcc2"
ALLOWED = "#d3dfe6"


@dataclass(frozen=True, slots=True)
class Tone:
    """A verdict's two colours: its ink, and the ground it may stand on."""

    ink: str
    ground: str


TONES = {
    Verdict.PASS: Tone("#1d5a3b", "#e7f1eb"),
    Verdict.FAIL: Tone("#8a1912", "#faeae8"),
    Verdict.UNJUDGED: Tone("#694900", "#f8f0db"),
    Verdict.NOT_REACHED: Tone("#46386d", "#eeebf5"),
    Verdict.NOT_APPLICABLE: Tone("#49535b", "#edf0f1"),
}

FAIL_INK = TONES[Verdict.FAIL].ink

TEXT_PAIRS = [
    (INK, PAPER),
    (INK, WASH),
    (MUTED, PAPER),
    (MUTED, WASH),
    (INK, ALLOWED),
    *((tone.ink, ground) for tone in TONES.values() for ground in (PAPER, WASH, tone.ground)),
    *((PAPER, tone.ink) for tone in TONES.values()),
    *((text, tone.ground) for tone in TONES.values() for text in (INK, MUTED)),
]
MARK_PAIRS = [(INK, ALLOWED), (MUTED, PAPER), (MUTED, WASH), *((tone.ink, ALLOWED) for tone in TONES.values())]


def slug(verdict: Verdict) -> str:
    """A verdict's word as a class name."""
    return verdict.value.replace(" ", "-")


def as_names() -> dict[str, str]:
    """All colours by name, for the style sheet and the typesetter."""
    names = {"paper": PAPER, "wash": WASH, "ink": INK, "muted": MUTED, "rule": RULE, "allowed": ALLOWED}
    for verdict, tone in TONES.items():
        names[f"{slug(verdict)}-ink"] = tone.ink
        names[f"{slug(verdict)}-ground"] = tone.ground
    return names
