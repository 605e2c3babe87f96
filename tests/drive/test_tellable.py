"""A product whose looks a bench's camera was found unable to tell apart is refused, by name; any other goes through."""

from pathlib import Path

import pytest

from hil.core.bench_file import BenchFile
from hil.core.errors import InputError
from hil.core.kept_file import write_kept
from hil.core.product import Product, load_product
from hil.core.qualified_file import Alike, LookTold, QualifiedFile, qualified_file_of, read_qualified
from hil.drive.bench.tellable import refuse_untellable
from hil.virtual import DEMO_PRODUCT

BENCH = BenchFile(name="bench 3", kind="virtual")


def look(text: str) -> LookTold:
    colour, _, rate = text.partition(" ")
    return LookTold(colour=colour, flash_hz=float(rate) if rate else None)


def found(
    one: str, other: str, regions: tuple[None, None] | tuple[tuple[int, int, int, int], None] = (None, None)
) -> QualifiedFile:
    pair = Alike(one=look(one), other=look(other), because="0.010 in u′v′")
    return QualifiedFile(day="2026-01-02", runs=("a", "b"), qualified=False, regions=regions, alike=(pair,))


def with_lamps(**lamps: dict[str, object]) -> Product:
    """The demo product with other lamps in some stages."""
    raw = load_product(DEMO_PRODUCT).model_dump(mode="json")
    for stage, lamp in lamps.items():
        raw["stages"][stage]["lamp"] = lamp
    return Product.model_validate(raw)


def refused(product: Product, finding: QualifiedFile, folder: Path) -> str:
    bench = folder / "bench.toml"
    write_kept(finding, qualified_file_of(bench))
    try:
        refuse_untellable(product, BENCH, bench)
    except InputError as error:
        return str(error)
    return ""


def test_the_message_names_pair_stages_day_runs_and_remedy(tmp_path: Path) -> None:
    told = refused(load_product(DEMO_PRODUCT), found("blue", "green"), tmp_path)
    assert "bench.qualified.json: this bench cannot tell blue and green apart" in told
    assert "(0.010 in u′v′; found on 2026-01-02 from a, b)" in told
    assert "its stages setup and connected" in told or "its stages connected and setup" in told
    assert "Aim again, nearer (hil bench aim); shade the board; or qualify anew" in told


@pytest.mark.parametrize(
    ("lamps", "pair", "refuses"),
    [
        ({"setup": {"colour": "amber"}}, ("amber", "green"), True),
        ({"setup": {"colour": "yellow"}}, ("amber", "green"), True),  # one meaning of IEC 60073
        ({"setup": {"colour": "amber", "flash_hz": 1.0}}, ("amber", "green"), False),  # the other is steady
        ({"setup": {"colour": "amber"}}, ("magenta", "cyan"), False),
        ({"joining": {"colour": "white", "flash_hz": 1.7}}, ("white 1.7", "white 2"), True),
        ({"joining": {"colour": "white", "flash_hz": 1.8}}, ("white 1.7", "white 2"), True),  # nearer still
        ({"joining": {"colour": "white", "flash_hz": 0.6}}, ("white 1.7", "white 2"), False),
        ({"joining": {"colour": "amber", "flash_hz": 1.7}}, ("white 1.7", "white 2"), False),
        (
            {"joining": {"sequence": [{"colour": "red", "for_s": 0.5}, {"colour": "amber", "for_s": 0.5}]}},
            ("red", "amber"),
            True,  # it changes between the two, which nobody would see
        ),
        (
            {"joining": {"sequence": [{"colour": "amber", "for_s": 0.5}, {"colour": "white", "for_s": 0.5}]}},
            ("red", "amber"),
            False,
        ),
    ],
)
def test_only_what_would_be_mistaken_is_refused(
    lamps: dict[str, dict[str, object]], pair: tuple[str, str], refuses: bool, tmp_path: Path
) -> None:
    assert bool(refused(with_lamps(**lamps), found(*pair), tmp_path)) == refuses


def test_without_a_file_or_aimed_anew_everything_goes_through(tmp_path: Path) -> None:
    refuse_untellable(load_product(DEMO_PRODUCT), BENCH, tmp_path / "bench.toml")
    assert refused(load_product(DEMO_PRODUCT), found("blue", "green", ((1, 2, 30, 30), None)), tmp_path) == ""


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"day": 3}'])
def test_a_file_that_cannot_be_read_is_wrong_input(tmp_path: Path, text: str) -> None:
    file = qualified_file_of(tmp_path / "bench.toml")
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"this qualification file cannot be read.*hil bench qualify"):
        read_qualified(file)


def test_two_looks_of_one_colour_without_rates_are_none() -> None:
    with pytest.raises(ValueError, match="differ by the rates"):
        Alike(one=look("white"), other=look("white 2"), because="")
