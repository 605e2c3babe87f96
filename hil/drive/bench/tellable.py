"""Refuses a product whose lamp this bench's camera was found unable to read, before anything is driven.

A finding counts while the camera is aimed as it was then; aimed anew, with other regions, the bench is as one that nobody
qualified.
"""

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

from hil.core.bench_file import BenchFile
from hil.core.errors import InputError
from hil.core.product import Lamp, Product
from hil.core.qualified_file import Alike, qualified_file_of, read_qualified
from hil.lamp import SAME_COLOUR

RATES_ALIKE = 1.35  # two flashes of one colour whose rates differ by less: each may be off by 15 %
REMEDY = "Aim again, nearer (hil bench aim); shade the board; or qualify anew: hil bench qualify RUN RUN --bench FILE."
Pattern = tuple[tuple[str, float], ...]


def refuse_untellable(product: Product, bench_file: BenchFile, bench_path: Path) -> None:
    """Let a product through, or say which two of its looks this bench cannot tell apart.

    Raises:
        InputError: there are two such looks, or the qualification file cannot be read.
    """
    file = qualified_file_of(bench_path)
    found = read_qualified(file)
    camera = bench_file.lamp_camera
    if found is None or found.regions != (camera.unit_region, camera.bench_region):
        return
    for pair in found.alike:
        stages = next(_shown_alike(product, pair), None)
        if stages is not None:
            rests = f"{pair.because}; found on {found.day} from {', '.join(found.runs)}"
            problem = f"this bench cannot tell {pair} apart ({rests}), and so shows {product.name} {stages}."
            raise InputError(str(file), problem, REMEDY)


def _shown_alike(product: Product, pair: Alike) -> Iterator[str]:
    """The stages of a product that cannot be told apart where these two looks cannot."""
    names = dict.fromkeys((pair.one.colour, pair.other.colour), pair.one.colour)
    if pair.one.colour != pair.other.colour:
        for name, stage in product.stages.items():
            if set(names) <= {_plain(part.colour) for part in stage.lamp.sequence}:
                yield f"its stage {name}, which changes between the two"
    for (one_name, one), (other_name, other) in combinations(product.stages.items(), 2):
        if _are_alike(one.lamp, other.lamp, pair, names):
            yield f"its stages {one_name} and {other_name}"


def _are_alike(one: Lamp, other: Lamp, pair: Alike, names: dict[str, str]) -> bool:
    """Whether two lamps look the same but for what the pair says cannot be told: its rates, or colours that `names` makes one."""
    rates = times(one.flash_hz, other.flash_hz)
    words = [[word for word, _ in _pattern(lamp)] for lamp in (one, other)]
    if pair.one.colour == pair.other.colour:
        return words == [[pair.one.colour]] * 2 and 0.0 < rates <= times(pair.one.flash_hz, pair.other.flash_hz)
    named = [[names.get(word, word) for word in pattern] for pattern in words]
    if words[0] == words[1] or named[0] != named[1]:
        return False
    lengths = [[for_s for _, for_s in _pattern(lamp)] for lamp in (one, other)]
    return lengths[0] == lengths[1] and (rates < RATES_ALIKE if rates else one.flash_hz == other.flash_hz)


def times(one_hz: float | None, other_hz: float | None) -> float:
    """How many times the one rate is the other; 0 where one does not flash."""
    return max(one_hz, other_hz) / min(one_hz, other_hz) if one_hz and other_hz else 0.0


def _pattern(lamp: Lamp) -> Pattern:
    """Colours and how long each is shown, where that is told."""
    if lamp.sequence:
        return tuple((_plain(part.colour), part.for_s) for part in lamp.sequence)
    return ((_plain(lamp.colour or ""), 0.0),)


def _plain(colour: str) -> str:
    return SAME_COLOUR.get(colour, colour)
