"""Builds of the reference firmware, held against the image's layout as the virtual board reads it, and `build.toml`'s reader."""

import hashlib
import io
import struct
import tarfile
from pathlib import Path

import pytest

from hil.core.build import load_build
from hil.core.errors import InputError
from hil.virtual.build import firmware_files, make_build


def files_in(image: bytes) -> dict[str, bytes]:
    """Unpack an image by the layout's own words: magic, length, SHA-256, tar."""
    magic, length, digest = struct.unpack_from("<8sI32s", image)
    payload = image[44:]
    assert (magic, length) == (b"MVIMAGE1", len(payload))
    assert hashlib.sha256(payload).digest() == digest
    with tarfile.open(fileobj=io.BytesIO(payload), mode="r:") as archive:
        return {entry.name: archive.extractfile(entry).read() for entry in archive}  # type: ignore[union-attr]


def test_build_holds_the_firmware_and_its_places(tmp_path: Path) -> None:
    build = load_build(make_build(tmp_path / "new" / "build"))
    assert build.version == "1.4.0"
    (image,) = build.images
    assert image.offset == 0x10000
    assert [(region.offset, region.size) for region in build.settings] == [(0x90000, 0x2000)]
    assert files_in(image.content()) == {name: text.encode() for name, text in firmware_files().items()}
    assert image.offset + len(image.content()) < 0x90000


def test_same_sources_give_the_same_image(tmp_path: Path) -> None:
    first, second = (load_build(make_build(tmp_path / name)) for name in ("a", "b"))
    assert first.sha256 == second.sha256


def test_version_given_is_in_the_build_and_in_the_unit(tmp_path: Path) -> None:
    plain = load_build(make_build(tmp_path / "plain"))
    newer = load_build(make_build(tmp_path / "newer", version="1.5.0-rc1"))
    assert newer.version == "1.5.0-rc1"
    assert b'VERSION = "1.5.0-rc1"\n' in files_in(newer.images[0].content())["version.py"]
    assert newer.sha256 != plain.sha256


def test_a_build_put_together_wrongly_marks_another_image_for_the_update(tmp_path: Path) -> None:
    build = load_build(make_build(tmp_path, patch="update_of_wrong_image"))
    assert build.images[0].content() == load_build(make_build(tmp_path / "good")).images[0].content()
    assert build.for_update == build.images[1]
    assert build.for_update.content().startswith(b"<svg")


@pytest.mark.parametrize("version", ["", '1"', "1\n2", "x" * 33])
def test_a_text_that_is_no_version_is_refused(tmp_path: Path, version: str) -> None:
    with pytest.raises(InputError, match="version"):
        make_build(tmp_path, version=version)


def test_a_patch_nobody_knows_is_refused_with_those_known(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="lamp_red_green_swapped"):
        make_build(tmp_path, patch="lamp_purple")
