"""The flash model, held against what data sheets of serial NOR flashes say of them.

Source of the rules (erased is 0xFF, programming only turns ones to zeros, sectors of 4096, pages of 256, a cut operation
leaves bits undefined): the data sheet of the W25Q32JV, from memory; common to the class.
"""

import asyncio
import random
from pathlib import Path

import pytest

from hil.virtual.board.flash import FLASH_SIZE, PAGE_SIZE, SECTOR_SIZE, Flash, FlashChip

AT = 0x90000
NEVER_S, AT_ONCE_S = 1e-6, 1e6  # speeds: unit seconds a real second
LIMIT_S = 10.0


class Book:
    """Keeps truth lines in memory."""

    def __init__(self) -> None:
        self.lines: list[tuple[str, object]] = []

    def __call__(self, what: str, **more: object) -> None:
        self.lines.append((what, more["phase"]))


@pytest.fixture
def flash(tmp_path: Path) -> Flash:
    return Flash(tmp_path / "flash")


def ones(data: bytes) -> int:
    return int.from_bytes(data, "big").bit_count()


def test_a_worn_octet_reads_as_zero_whatever_was_done_to_it(tmp_path: Path) -> None:
    worn = Flash(tmp_path / "flash", worn_at=AT + 5)
    assert worn.read(AT, 8) == b"\xff" * 5 + b"\0" + b"\xff" * 2
    worn.program(AT, b"12345678")
    assert worn.read(AT, 8) == b"12345\x0078"
    assert worn.read(AT + 6, 2) == b"78"
    worn.erase_sector(AT)
    assert worn.read(AT + 5, 1) == b"\0"


def test_new_flash_is_erased(flash: Flash) -> None:
    assert flash.read(0, flash.size) == b"\xff" * (1 << 20)


def test_programming_only_clears_bits(flash: Flash) -> None:
    flash.program(AT, bytes([0b1010_1010, 0xFF]))
    flash.program(AT, bytes([0b1100_1100, 0x0F]))
    assert flash.read(AT, 3) == bytes([0b1000_1000, 0x0F, 0xFF])


def test_erasing_sets_one_whole_sector(flash: Flash) -> None:
    for page in range(AT - PAGE_SIZE, AT + SECTOR_SIZE + PAGE_SIZE, PAGE_SIZE):
        flash.program(page, bytes(PAGE_SIZE))
    flash.erase_sector(AT)
    around = flash.read(AT - 1, SECTOR_SIZE + 2)
    assert around == b"\x00" + b"\xff" * SECTOR_SIZE + b"\x00"


def test_cells_outlive_the_process(tmp_path: Path) -> None:
    first = Flash(tmp_path / "flash")
    first.program(AT, b"kept")
    first.close()
    assert Flash(tmp_path / "flash").read(AT, 4) == b"kept"


def test_wrong_ranges_are_refused(flash: Flash) -> None:
    with pytest.raises(ValueError, match="beginning of a sector"):
        flash.erase_sector(AT + PAGE_SIZE)
    with pytest.raises(ValueError, match="cross the end of a page"):
        flash.program(AT + 200, bytes(57))
    with pytest.raises(ValueError, match="outside the flash"):
        flash.read(FLASH_SIZE - 1, 2)


@pytest.mark.parametrize("done", [0.0, 0.3, 1.0])
def test_a_torn_change_has_made_that_part_of_its_bits(flash: Flash, done: float) -> None:
    flash.tear(AT, bytes(SECTOR_SIZE), done, random.Random(7))
    changed = 8 * SECTOR_SIZE - ones(flash.read(AT, SECTOR_SIZE))
    # Binomial spread: five standard deviations of 32768 draws.
    spread = 5 * (8 * SECTOR_SIZE * done * (1 - done)) ** 0.5
    assert abs(changed - 8 * SECTOR_SIZE * done) <= spread


def test_an_operation_is_booked_and_done(flash: Flash) -> None:
    async def erase_then_program() -> bytes:
        book = Book()
        chip = FlashChip(flash, speed=AT_ONCE_S, seed=1, truth=book)
        await chip.erase(AT)
        await chip.program(AT, b"\x12\x34")
        assert book.lines == [
            ("flash erase", "begin"),
            ("flash erase", "end"),
            ("flash program", "begin"),
            ("flash program", "end"),
        ]
        return await chip.read(AT, 3)

    flash.program(AT, bytes(PAGE_SIZE))
    assert asyncio.run(asyncio.wait_for(erase_then_program(), LIMIT_S)) == b"\x12\x34\xff"


def torn_erase(folder: Path, seed: int) -> bytes:
    """Return a sector of zeros whose erasing was cut, as that seed tears it."""
    folder.mkdir()
    flash = Flash(folder / "flash")
    for page in range(AT, AT + SECTOR_SIZE, PAGE_SIZE):
        flash.program(page, bytes(PAGE_SIZE))

    async def cut_it() -> None:
        book = Book()
        chip = FlashChip(flash, speed=NEVER_S, seed=seed, truth=book)
        erasing = asyncio.create_task(chip.erase(AT))
        await asyncio.sleep(0)
        assert book.lines == [("flash erase", "begin")]
        chip.cut()
        with pytest.raises(asyncio.CancelledError):
            await erasing
        assert book.lines[1:] == [("flash erase", "torn")]

    asyncio.run(asyncio.wait_for(cut_it(), LIMIT_S))
    return flash.read(AT, SECTOR_SIZE)


def test_a_cut_tears_an_erase_by_seed(tmp_path: Path) -> None:
    torn = torn_erase(tmp_path / "a", 3)
    assert 0 < ones(torn) < 8 * SECTOR_SIZE
    assert torn == torn_erase(tmp_path / "b", 3)
    assert torn != torn_erase(tmp_path / "c", 4)


def test_a_cut_tears_a_page_and_nothing_else(flash: Flash) -> None:
    async def cut_it() -> None:
        chip = FlashChip(flash, speed=NEVER_S, seed=5, truth=Book())
        programming = asyncio.create_task(chip.program(AT, bytes(PAGE_SIZE)))
        await asyncio.sleep(0)
        assert flash.read(AT, PAGE_SIZE) == b"\xff" * PAGE_SIZE
        chip.cut()
        await asyncio.wait({programming})

    asyncio.run(asyncio.wait_for(cut_it(), LIMIT_S))
    assert 0 < ones(flash.read(AT, PAGE_SIZE)) < 8 * PAGE_SIZE
    assert flash.read(AT - 1, 1) == flash.read(AT + PAGE_SIZE, 1) == b"\xff"


def test_a_cut_of_an_idle_flash_changes_nothing(flash: Flash) -> None:
    async def cut_it() -> None:
        book = Book()
        FlashChip(flash, speed=1.0, seed=1, truth=book).cut()
        assert book.lines == []

    asyncio.run(cut_it())
    assert flash.read(0, flash.size) == b"\xff" * FLASH_SIZE


def test_an_operation_outlives_the_one_who_asked_and_the_next_waits_for_it(flash: Flash) -> None:
    async def reset_while_erasing() -> bytes:
        book = Book()
        chip = FlashChip(flash, speed=1.0, seed=1, truth=book)
        erasing = asyncio.create_task(chip.erase(AT))
        await asyncio.sleep(0)
        erasing.cancel()
        read = await chip.read(AT, PAGE_SIZE)
        assert book.lines == [("flash erase", "begin"), ("flash erase", "end")]
        return read

    flash.program(AT, bytes(PAGE_SIZE))
    assert asyncio.run(asyncio.wait_for(reset_while_erasing(), LIMIT_S)) == b"\xff" * PAGE_SIZE
