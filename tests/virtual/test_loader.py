"""The virtual chip's serial loader, held against the vendor's own open-source host tool, esptool, unmodified."""

import hashlib
import random
import re
import struct
from collections.abc import Iterator
from pathlib import Path

import pytest
from esptool import cmds
from esptool.loader import ESPLoader
from esptool.targets import ESP32ROM
from esptool.util import FatalError
from serial.urlhandler import protocol_loop

from hil.virtual.board.flash import Flash
from hil.virtual.board.loader import DOWNLOAD_BANNER, Loader

ADDRESS = bytes.fromhex("0200c0dbff7a")
AT = 0x10000

# Every byte value, so that all that SLIP must escape is there; packed images and plain ones; not whole words or pages.
NOISE = random.Random(5).randbytes(9_001)
TEXT = b"vent position 40 %\n" * 700


class Line(protocol_loop.Serial):
    """A serial line to a loader, without any transport: what is written is answered at once."""

    def __init__(self, loader: Loader) -> None:
        self.loader = loader
        super().__init__("loop://", timeout=0.2)

    def open(self) -> None:
        self.buffer_size = 0  # no limit
        super().open()

    def write(self, data: bytes) -> int:
        for byte in self.loader.feed(bytes(data)):
            self.queue.put(bytes([byte]))
        return len(data)


@pytest.fixture
def flash(tmp_path: Path) -> Iterator[Flash]:
    flash = Flash(tmp_path / "flash")
    yield flash
    flash.close()


@pytest.fixture
def line(flash: Flash) -> Iterator[Line]:
    line = Line(Loader(flash, ADDRESS))
    yield line
    line.close()


@pytest.fixture(params=["stub", "ROM"])
def chip(line: Line, request: pytest.FixtureRequest) -> ESPLoader:
    return connected(line, stub=request.param == "stub")


def connected(line: Line, *, stub: bool) -> ESPLoader:
    chip = ESP32ROM(line)
    chip.connect("no-reset")
    if stub:
        chip = cmds.run_stub(chip)
    assert chip.IS_STUB is stub
    cmds.attach_flash(chip)
    return chip


def fill(flash: Flash, at: int, data: bytes) -> None:
    for start in range(0, len(data), 256):
        flash.program(at + start, data[start : start + 256])


def test_is_taken_for_an_esp32_with_the_units_address(line: Line) -> None:
    chip = cmds.detect_chip(line, connect_mode="no-reset")
    cmds.attach_flash(chip)
    assert chip.CHIP_NAME == "ESP32"
    assert bytes(chip.read_mac()) == ADDRESS
    assert chip.get_chip_description() == "ESP32-D0WD-V3 (revision v3.0)"
    assert chip.get_crystal_freq() == 40
    assert cmds.detect_flash_size(chip) == "1MB"


@pytest.mark.parametrize("content", [NOISE, TEXT, b"\xc0\xdb\xdc\xdd", b"\x00" * 4096])
def test_writes_images_and_nothing_else(chip: ESPLoader, flash: Flash, content: bytes) -> None:
    fill(flash, 0, b"\x55" * flash.size)
    cmds.write_flash(chip, [(AT, content), (0x40000, TEXT)], no_progress=True)
    assert flash.read(AT, len(content)) == content
    assert flash.read(0x40000, len(TEXT)) == TEXT
    end = AT + -(-len(content) // 4096) * 4096
    assert flash.read(AT + len(content), end - AT - len(content)).strip(b"\xff") == b""
    assert flash.read(0, AT) == b"\x55" * AT
    assert flash.read(end, 0x40000 - end) == b"\x55" * (0x40000 - end)


def test_an_image_may_begin_within_a_page(chip: ESPLoader, flash: Flash) -> None:
    cmds.write_flash(chip, [(AT + 100, NOISE)], no_progress=True)
    assert flash.read(AT + 100, len(NOISE)) == NOISE


def test_writes_again_over_another_image(chip: ESPLoader, flash: Flash) -> None:
    cmds.write_flash(chip, [(AT, NOISE)], no_progress=True)
    cmds.write_flash(chip, [(AT, TEXT)], no_progress=True)
    assert flash.read(AT, len(TEXT)) == TEXT


def test_erases_everything(line: Line, flash: Flash) -> None:
    fill(flash, 0, b"\x00" * flash.size)
    cmds.erase_flash(connected(line, stub=True))
    assert flash.read(0, flash.size) == b"\xff" * flash.size


def test_erases_a_region_and_nothing_else(chip: ESPLoader, flash: Flash) -> None:
    fill(flash, 0, b"\x00" * flash.size)
    cmds.erase_region(chip, 0x90000, 0x2000)
    assert flash.read(0x90000, 0x2000) == b"\xff" * 0x2000
    assert flash.read(0, 0x90000) == b"\x00" * 0x90000
    assert flash.read(0x92000, flash.size - 0x92000) == b"\x00" * (flash.size - 0x92000)


@pytest.mark.parametrize("size", [1, 64, 4096, 9_001])
def test_reads_flash_back(chip: ESPLoader, flash: Flash, size: int) -> None:
    fill(flash, AT, NOISE)
    assert cmds.read_flash(chip, AT, size, no_progress=True) == NOISE[:size]


def test_reads_more_than_may_be_under_way_unconfirmed(line: Line, flash: Flash) -> None:
    # The host allows 64 blocks of 4096 bytes ahead of its confirmations, which is 0x40000 bytes.
    content = random.Random(6).randbytes(0x50000)
    fill(flash, 0, content)
    assert cmds.read_flash(connected(line, stub=True), 0, len(content), no_progress=True) == content


def test_sends_no_more_ahead_than_the_host_allows(line: Line, flash: Flash) -> None:
    connected(line, stub=True)
    fill(flash, AT, NOISE)
    answer = line.loader.feed(request(0xD2, struct.pack("<IIII", AT, 4096, 1024, 2)))
    assert sizes(answer) == [10, 1024, 1024]
    assert sizes(line.loader.feed(frame(struct.pack("<I", 1024)))) == [1024]
    assert sizes(line.loader.feed(frame(struct.pack("<I", 2048)))) == [1024]
    assert sizes(line.loader.feed(frame(struct.pack("<I", 3072)))) == []
    end = line.loader.feed(frame(struct.pack("<I", 4096)))
    assert frames(end) == [hashlib.md5(NOISE[:4096]).digest()]


def test_verifies_by_digest(chip: ESPLoader, flash: Flash) -> None:
    cmds.write_flash(chip, [(AT, NOISE)], no_progress=True)
    cmds.verify_flash(chip, [(AT, NOISE)])
    flash.program(AT + 4_000, bytes([NOISE[4_000] & 0x0F]))
    assert flash.read(AT, len(NOISE)) != NOISE
    with pytest.raises(FatalError, match="Verification failed"):
        cmds.verify_flash(chip, [(AT, NOISE)])


def test_the_rate_may_be_changed(chip: ESPLoader, flash: Flash) -> None:
    chip.change_baud(460_800)
    cmds.write_flash(chip, [(AT, TEXT)], no_progress=True)
    assert flash.read(AT, len(TEXT)) == TEXT


def test_a_host_that_comes_again_finds_the_stub_running(line: Line) -> None:
    connected(line, stub=True)
    again = ESP32ROM(line)
    again.connect("no-reset")
    assert again.sync_stub_detected


def test_the_rom_is_not_taken_for_a_stub(line: Line) -> None:
    assert not connected(line, stub=False).sync_stub_detected


def test_the_rom_does_not_know_the_stubs_commands(line: Line, flash: Flash) -> None:
    flash.program(0, b"\x00")
    with pytest.raises(FatalError):
        connected(line, stub=False).check_command("erase flash", 0xD0)
    assert flash.read(0, 1) == b"\x00"


def test_a_stub_needs_an_upload_with_its_entry_in_it(line: Line) -> None:
    chip = ESP32ROM(line)
    chip.connect("no-reset")
    chip.mem_begin(4, 1, 4, 0x40080000)
    chip.mem_block(b"\x00" * 4, 0)
    chip.mem_finish(0x40090000)
    with pytest.raises(FatalError, match="Serial data stream stopped"):
        chip.read()


def test_refuses_what_lies_outside_the_flash(chip: ESPLoader, flash: Flash) -> None:
    for at, size in ((flash.size - 4096, 8192), (flash.size, 4096)):
        with pytest.raises(FatalError):
            chip.flash_begin(size, at)
        with pytest.raises(FatalError):
            chip.flash_md5sum(at, size)


def test_the_rom_refuses_flash_that_was_not_attached(line: Line) -> None:
    chip = ESP32ROM(line)
    chip.connect("no-reset")
    with pytest.raises(FatalError):
        chip.flash_begin(4096, AT)


def test_refuses_a_block_with_a_wrong_checksum_or_out_of_turn(chip: ESPLoader, line: Line, flash: Flash) -> None:
    chip.flash_begin(2048, AT)
    block = struct.pack("<IIII", 4, 0, 0, 0) + b"\x01\x02\x03\x04"
    right = ESPLoader.checksum(b"\x01\x02\x03\x04")
    assert failed(chip, line.loader.feed(request(0x03, block, right ^ 1)))
    assert failed(chip, line.loader.feed(request(0x03, struct.pack("<I", 4) + b"\x01" + block[5:], right)))
    assert flash.read(AT, 4) == b"\xff" * 4
    assert not failed(chip, line.loader.feed(request(0x03, block, right)))
    assert flash.read(AT, 4) == b"\x01\x02\x03\x04"


def test_refuses_data_that_does_not_unpack(chip: ESPLoader, flash: Flash) -> None:
    chip.flash_defl_begin(4096, 100, AT)
    with pytest.raises(FatalError):
        chip.flash_defl_block(b"not deflated at all", 0)
    assert flash.read(AT, 4096) == b"\xff" * 4096


@pytest.mark.parametrize(
    ("command", "payload"),
    [
        (0x02, bytes(8)),  # FLASH_BEGIN
        (0x03, bytes(16)),  # FLASH_DATA, nothing begun (the checksum is wrong as well)
        (0x03, bytes(4)),
        (0x05, bytes(4)),  # MEM_BEGIN
        (0x07, bytes(20)),  # MEM_DATA, nothing begun
        (0x08, b"\x07\x07\x12"),  # SYNC
        (0x09, bytes(12)),  # WRITE_REG
        (0x0A, bytes(3)),  # READ_REG
        (0x0B, bytes(8)),  # SPI_SET_PARAMS
        (0x0D, bytes(1)),  # SPI_ATTACH
        (0x0E, struct.pack("<II", 0, 65)),  # READ_FLASH_SLOW gives 64 bytes at most
        (0x13, bytes(8)),  # SPI_FLASH_MD5
        (0x14, b""),  # GET_SECURITY_INFO, which this chip family lacks
        (0xD1, struct.pack("<II", 0x100, 0x1000)),  # ERASE_REGION, not from a sector's beginning
        (0xD2, struct.pack("<IIII", 0, 4096, 0, 64)),  # READ_FLASH in blocks of nothing
        (0xEE, b""),
    ],
)
def test_refuses_requests_that_are_wrong_and_goes_on(chip: ESPLoader, line: Line, command: int, payload: bytes) -> None:
    assert failed(chip, line.loader.feed(request(command, payload)))
    assert bytes(chip.read_mac()) == ADDRESS


def test_refuses_a_frame_of_another_length_than_it_says(chip: ESPLoader, line: Line) -> None:
    assert failed(chip, line.loader.feed(frame(struct.pack("<BBHI", 0, 0x0A, 5, 0) + bytes(4))))


def test_refuses_more_data_than_was_announced(chip: ESPLoader, flash: Flash) -> None:
    chip.flash_begin(100, AT)
    with pytest.raises(FatalError):
        chip.flash_block(b"\x00" * 200, 0)
    assert flash.read(AT, 200) == b"\xff" * 200


def test_memory_is_not_started_before_it_is_whole(line: Line) -> None:
    chip = ESP32ROM(line)
    chip.connect("no-reset")
    chip.mem_begin(8, 2, 4, 0x40080000)
    chip.mem_block(b"\x00" * 4, 0)
    assert failed(chip, line.loader.feed(request(0x06, struct.pack("<II", 0, 0x40080000))))


def test_the_stub_runs_the_firmware_without_an_answer(line: Line) -> None:
    connected(line, stub=True)
    assert line.loader.feed(request(0xD3, b"")) == b""
    assert line.loader.restart_wanted


def test_ending_a_write_leaves_the_rom_but_not_the_stub_that_is_told_to_stay(chip: ESPLoader, line: Line) -> None:
    chip.flash_begin(0, 0)
    chip.flash_finish(reboot=False)
    assert line.loader.restart_wanted is not chip.IS_STUB


def test_running_the_firmware_is_asked_for(line: Line) -> None:
    chip = ESP32ROM(line)
    chip.connect("no-reset")
    assert not line.loader.restart_wanted
    chip.run()
    assert line.loader.restart_wanted


def test_frames_may_come_in_any_pieces_and_between_noise(line: Line) -> None:
    sync = request(0x08, b"\x07\x07\x12\x20" + b"\x55" * 32)
    whole = line.loader.feed(sync)
    assert len(frames(whole)) == 8
    pieces = b"".join(line.loader.feed(bytes([byte])) for byte in b"boot noise\r\n" + sync)
    assert pieces == whole


def test_the_banner_says_what_the_host_looks_for() -> None:
    # The host tool's own pattern for a chip in its loader.
    found = re.search(rb"boot:(0x[0-9a-fA-F]+)(.*waiting for download)?", DOWNLOAD_BANNER, re.DOTALL)
    assert found is not None
    assert found[2]


def frame(content: bytes) -> bytes:
    """A SLIP frame as RFC 1055 has it (with END before it too)."""
    return b"\xc0" + content.replace(b"\xdb", b"\xdb\xdd").replace(b"\xc0", b"\xdb\xdc") + b"\xc0"


def request(command: int, payload: bytes, checksum: int = 0) -> bytes:
    return frame(struct.pack("<BBHI", 0, command, len(payload), checksum) + payload)


def frames(line_bytes: bytes) -> list[bytes]:
    parts = [part for part in line_bytes.split(b"\xc0") if part]
    return [part.replace(b"\xdb\xdc", b"\xc0").replace(b"\xdb\xdd", b"\xdb") for part in parts]


def sizes(line_bytes: bytes) -> list[int]:
    return [len(part) for part in frames(line_bytes)]


def failed(chip: ESPLoader, answer: bytes) -> bool:
    """Whether the status of a response without data says failed: two bytes from the stub, four from the ROM."""
    (only,) = frames(answer)
    assert len(only) == 8 + (2 if chip.IS_STUB else 4)
    return only[8] != 0
