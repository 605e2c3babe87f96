"""A flasher that is another program: one whose chip is a file, and programs that fail."""

import sys
from pathlib import Path

import pytest
from support.loader_board import PICTURES_AT

from hil.core.bench_file import FlashCommands
from hil.core.build import Build
from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.instruments.flasher.command import CommandFlasher

# A programmer whose chip is a file: what is erased is all ones, as in NOR flash.
PROGRAMMER = """
import sys
what, chip, offset, size, file = sys.argv[1], sys.argv[2], int(sys.argv[3], 0), int(sys.argv[4], 0), sys.argv[5]
with open(chip, "r+b") as flash:
    flash.seek(offset)
    if what == "verify":
        sys.exit(flash.read(size) != open(file, "rb").read())
    flash.write(open(file, "rb").read() if what == "write" else b"\\xff" * size)
"""
CHIP_OCTETS = 0x80000
FINE = f"{sys.executable} -c pass"


def commands(**others: str | float) -> FlashCommands:
    return FlashCommands.model_validate({"erase": FINE, "write": FINE, "verify": FINE, **others})


def test_another_program_erases_writes_and_compares(build: Build, tmp_path: Path) -> None:
    chip, programmer = tmp_path / "chip", tmp_path / "programmer.py"
    chip.write_bytes(bytes(CHIP_OCTETS))
    programmer.write_text(PROGRAMMER, encoding="utf-8")
    words = f"{sys.executable} {programmer}"
    told = {
        "erase": f"{words} erase {{port}} 0 {CHIP_OCTETS:#x} none",
        "write": f"{words} write {{port}} {{offset}} {{size}} {{file}}",
        "verify": f"{words} verify {{port}} {{offset}} {{size}} {{file}}",
        "erase_region": f"{words} erase {{port}} {{offset}} {{size}} none",
    }
    flasher = CommandFlasher(str(chip), commands(**told))
    with flasher.session():
        assert flasher.identity() is None
        flasher.erase_all()
        assert chip.read_bytes() == b"\xff" * CHIP_OCTETS
        check = flasher.write(build)
    assert (check.matches, check.seen_sha256, check.differing) == (True, build.sha256, ())
    for image in build.images:
        assert chip.read_bytes()[image.offset :].startswith(image.content())
    flasher.erase_region(PICTURES_AT, 0x1000)
    check = flasher.verify(build)
    assert (check.matches, check.seen_sha256, check.differing) == (False, "", ("pictures.bin",))


def test_each_image_is_told_by_file_offset_and_size(build: Build, tmp_path: Path) -> None:
    told = tmp_path / "told.txt"
    script = f"import sys; open('{told}', 'a').write(' '.join(sys.argv[1:]) + chr(10))"
    words = f'{sys.executable} -c "{script}" {{port}} {{file}} {{offset}} {{size}}'
    CommandFlasher("/dev/ttyUSB3", commands(write=words)).write(build)
    assert told.read_text(encoding="utf-8").splitlines() == [
        f"/dev/ttyUSB3 {image.file} {image.offset:#x} {len(image.content()):#x}" for image in build.images
    ]


def test_what_a_program_that_fails_said_is_told(build: Build) -> None:
    failing = f"{sys.executable} -c \"import sys; print('no chip on port'); sys.exit(2)\""
    with pytest.raises(BenchError, match=r"ended with 2 and said: no chip on port.*flasher\.command\.write"):
        CommandFlasher("/dev/ttyUSB3", commands(write=failing)).write(build)
    with pytest.raises(BenchError, match=r"/no/such/program.* cannot be run.*flasher\.command\.erase"):
        CommandFlasher("/dev/ttyUSB3", commands(erase="/no/such/program")).erase_all()


def test_a_program_that_does_not_end_is_ended(build: Build) -> None:
    waits = f'{sys.executable} -c "import time; time.sleep(60)"'
    with pytest.raises(BenchError, match=r"did not end within 0\.2 s.*limit_s"):
        CommandFlasher("/dev/ttyUSB3", commands(write=waits, limit_s=0.2)).write(build)


def test_a_part_is_erased_only_where_there_is_a_command() -> None:
    with pytest.raises(InstrumentGone, match=r"Add flasher\.command\.erase_region"):
        CommandFlasher("/dev/ttyUSB3", commands()).erase_region(0, 4096)


@pytest.mark.parametrize("wrong", ["flash {image}", "flash {}", "flash 'no end", "flash {file", "flash {offset:q}"])
def test_a_command_that_cannot_be_understood_is_wrong_input(wrong: str) -> None:
    with pytest.raises(InputError, match=r"flasher\.command\.write: .*\{file\}, \{offset\}, \{port\}, \{size\}"):
        CommandFlasher("/dev/ttyUSB3", commands(write=wrong))


def test_an_erase_that_asks_for_a_file_is_wrong_input() -> None:
    with pytest.raises(InputError, match=r"flasher\.command\.erase: .*Fields are \{port\}"):
        CommandFlasher("/dev/ttyUSB3", commands(erase="flash {file}"))
