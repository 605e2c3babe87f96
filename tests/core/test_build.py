"""The build file, and the sum a build is known by (SHA-256 by the operating system's sha256sum)."""

import shutil
import subprocess
from pathlib import Path

import pytest

from hil.core.build import Region, load_build, sum_of
from hil.core.errors import InputError

TWO_IMAGES = """
version = "2.4.1"
settings = [{ offset = 0x90000, size = 0x2000 }]

[[images]]
file = "parts/pictures.bin"
offset = 0x40000

[[images]]
file = "vent.bin"
offset = 0x10000
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "pictures.bin").write_bytes(b"pictures")
    (tmp_path / "vent.bin").write_bytes(b"vent")
    (tmp_path / "build.toml").write_text(TWO_IMAGES)
    return tmp_path


def complaint(folder: Path, text: str) -> str:
    """What is said about a build file."""
    (folder / "build.toml").write_text(text)
    with pytest.raises(InputError) as caught:
        load_build(folder / "build.toml")
    assert str(folder) in caught.value.where
    assert caught.value.remedy
    return str(caught.value)


def test_a_build_has_its_images_in_offset_order_and_found_beside_it(folder: Path) -> None:
    build = load_build(folder / "build.toml")
    assert build.version == "2.4.1"
    assert build.path == folder / "build.toml"
    assert [image.offset for image in build.images] == [0x10000, 0x40000]
    assert [image.content() for image in build.images] == [b"vent", b"pictures"]
    assert build.settings == (Region(offset=0x90000, size=0x2000),)


def test_a_folder_stands_for_the_build_file_in_it(folder: Path) -> None:
    assert load_build(folder) == load_build(folder / "build.toml")


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum of GNU coreutils is missing")
def test_the_sum_is_over_offset_length_and_content_of_all_images(folder: Path) -> None:
    laid_out = bytes.fromhex("00000100000000000400000000000000") + b"vent"
    laid_out += bytes.fromhex("00000400000000000800000000000000") + b"pictures"
    by_coreutils = subprocess.run(["sha256sum"], input=laid_out, capture_output=True, check=True).stdout.decode()
    assert load_build(folder).sha256 == by_coreutils.split()[0]


def test_the_sum_changes_with_content_place_and_division_but_not_with_the_order_listed() -> None:
    one, two = (0x1000, b"ab"), (0x2000, b"cd")
    assert sum_of([one, two]) == sum_of([two, one])
    others = [[(0x1000, b"ab"), (0x2000, b"ce")], [(0x1001, b"ab"), two], [(0x1000, b"abcd")], [one]]
    assert len({sum_of(pieces) for pieces in [[one, two], *others]}) == 5


def test_the_image_an_update_sends_is_the_only_one_or_the_one_marked(folder: Path) -> None:
    (folder / "build.toml").write_text(TWO_IMAGES + "update = true\n")
    assert load_build(folder).for_update.content() == b"vent"
    (folder / "build.toml").write_text('version = "1"\n[[images]]\nfile = "vent.bin"\noffset = 0\n')
    assert load_build(folder).for_update.content() == b"vent"


@pytest.mark.parametrize("text", [TWO_IMAGES, TWO_IMAGES.replace("offset = 0x", "update = true\noffset = 0x")])
def test_of_several_images_one_alone_must_be_marked(folder: Path, text: str) -> None:
    (folder / "build.toml").write_text(text.replace("settings = [{ update = true\n", "settings = [{ "))
    with pytest.raises(InputError, match="update = true"):
        _ = load_build(folder).for_update


def test_a_missing_build_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"there is no such build file") as caught:
        load_build(tmp_path / "build.toml")
    assert caught.value.where == str(tmp_path / "build.toml")


def test_a_missing_image_is_named(folder: Path) -> None:
    (folder / "vent.bin").unlink()
    said = complaint(folder, TWO_IMAGES)
    assert f"{folder / 'vent.bin'}: this image cannot be read: No such file" in said


def test_an_empty_image(folder: Path) -> None:
    (folder / "vent.bin").write_bytes(b"")
    assert "vent.bin: this image is empty" in complaint(folder, TWO_IMAGES)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("0x40000", "-4"), "images.0.offset = -4: "),
        (("offset = 0x10000", "place = 0x10000"), "images.1.place: unknown key."),
        (("version", "versoin"), "versoin: unknown key."),
        (('"2.4.1"', "2.4"), "version = 2.4: "),
        (('"2.4.1"', '""'), "version = '': "),
        (("0x2000", "100"), "settings.0.size = 100: "),
        (("0x90000", "0x90100"), "settings.0.offset = 590080: "),
        (("[[images]]", "[[images"), "not TOML"),
    ],
)
def test_wrong_keys_and_values_are_named_with_what_was_found(folder: Path, change: tuple[str, str], said: str) -> None:
    assert said in complaint(folder, TWO_IMAGES.replace(*change))


def test_an_unknown_key_is_named_with_the_known_ones(folder: Path) -> None:
    said = complaint(folder, TWO_IMAGES + "speed = 3\n")
    assert "images.1.speed: unknown key." in said
    assert "file, offset" in said


def test_a_build_without_images(folder: Path) -> None:
    assert "images" in complaint(folder, 'version = "1"\nimages = []\n')


@pytest.mark.parametrize(
    ("change", "first", "second"),
    [
        (("0x40000", "0x10002"), "image vent.bin (0x10000 to 0x10004)", "image pictures.bin, which begins at 0x10002"),
        (("0x40000", "0x10800"), "image vent.bin (0x10000 to 0x10004)", "image pictures.bin, which begins at 0x10800"),
        (("0x40000", "0x10000"), "image vent.bin (0x10000 to 0x10004)", "image pictures.bin, which begins at 0x10000"),
        (("0x90000", "0x10000"), "image vent.bin", "settings, which begins at 0x10000"),
        (("0x90000", "0x3f000"), "settings (0x3f000 to 0x41000)", "image pictures.bin, which begins at 0x40000"),
    ],
)
def test_parts_that_overlap_or_share_a_sector_are_refused(
    folder: Path, change: tuple[str, str], first: str, second: str
) -> None:
    said = complaint(folder, TWO_IMAGES.replace(*change))
    assert first in said
    assert second in said


def test_parts_in_neighbouring_sectors_are_fine(folder: Path) -> None:
    (folder / "build.toml").write_text(TWO_IMAGES.replace("0x40000", "0x11000"))
    assert [image.offset for image in load_build(folder).images] == [0x10000, 0x11000]
