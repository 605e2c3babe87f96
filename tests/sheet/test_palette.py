"""Contrast by the formula of WCAG 2.2 (relative luminance and contrast ratio), itself held against published pairs."""

import re
from pathlib import Path

import pytest

import hil.sheet
from hil.core.verdicts import Verdict
from hil.sheet.palette import MARK_PAIRS, TEXT_PAIRS, TONES, as_names

SHEET = Path(hil.sheet.__file__).parent

# Ratios recomputed from the WCAG 2.2 formula and published for these pairs, four decimals.
PUBLISHED = [
    ("#000000", "#ffffff", 21.0),
    ("#777777", "#ffffff", 4.4781),
    ("#767676", "#ffffff", 4.5422),
    ("#949494", "#ffffff", 3.0335),
    ("#595959", "#ffffff", 7.0047),
    ("#ff0000", "#ffffff", 3.9985),
    ("#00ff00", "#000000", 15.3040),
    ("#0000ff", "#ffffff", 8.5925),
    ("#003366", "#ffffff", 12.6096),
    ("#4189b9", "#ffff00", 3.5533),
]


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 (threshold 0.04045)."""
    channels = [int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(("one", "other", "ratio"), PUBLISHED)
def test_the_formula_gives_the_published_ratios(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=5e-5)


@pytest.mark.parametrize(("ink", "ground"), TEXT_PAIRS)
def test_text_has_the_contrast_of_level_aa(ink: str, ground: str) -> None:
    assert contrast(ink, ground) >= 4.5  # WCAG 2.2, 1.4.3


@pytest.mark.parametrize(("ink", "ground"), MARK_PAIRS)
def test_marks_have_the_contrast_of_level_aa(ink: str, ground: str) -> None:
    assert contrast(ink, ground) >= 3.0  # WCAG 2.2, 1.4.11


def test_every_verdict_has_a_tone() -> None:
    assert set(TONES) == set(Verdict)


@pytest.mark.parametrize("name", ["sheet.css", "sheet.typ", "sheet.html.j2"])
def test_no_colour_is_named_outside_the_palette(name: str) -> None:
    source = (SHEET / name).read_text(encoding="utf-8")
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;\s\"',)])|rgba?\(\s*\d", source)
    used = set(re.findall(r"var\(--([a-z-]+)\)", source))
    assert used <= set(as_names())
