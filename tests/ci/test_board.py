"""The recipe for a board: how a partition table is changed, and what it says to wrong words. The table is the one that the chip
vendor's documents give for two programs and a file system (offsets of MicroPython's own OTA build; from memory)."""

import hashlib
import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

BOARD = Path(__file__).parents[2] / "ci" / "board"
LENGTH = 0xC00
ROWS = [
    (1, 0x02, 0x9000, 0x4000, "nvs"),
    (1, 0x00, 0xD000, 0x2000, "otadata"),
    (1, 0x01, 0xF000, 0x1000, "phy_init"),
    (0, 0x10, 0x10000, 0x180000, "ota_0"),
    (0, 0x11, 0x190000, 0x180000, "ota_1"),
    (1, 0x81, 0x310000, 0xF0000, "vfs"),
]


@pytest.fixture(scope="module")
def partitions() -> ModuleType:
    spec = importlib.util.spec_from_file_location("partitions", BOARD / "partitions.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["partitions"] = module
    spec.loader.exec_module(module)
    return module


def table() -> bytes:
    """Made by hand, octet for octet as the documents have it."""
    told = b""
    for kind, subtype, offset, size, label in ROWS:
        told += b"\xaa\x50" + bytes([kind, subtype]) + offset.to_bytes(4, "little") + size.to_bytes(4, "little")
        told += label.encode().ljust(16, b"\0") + bytes(4)
    return (told + b"\xeb\xeb" + b"\xff" * 14 + hashlib.md5(told).digest()).ljust(LENGTH, b"\xff")


def changed(read: bytes, folder: Path) -> tuple[int, bytes, str]:
    source, target = folder / "read.bin", folder / "write.bin"
    source.write_bytes(read)
    words = [sys.executable, str(BOARD / "partitions.py"), str(source), str(target)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=30.0, check=False)
    return done.returncode, target.read_bytes() if target.exists() else b"", done.stdout + done.stderr


def test_settings_take_the_end_of_the_file_system(partitions: ModuleType, tmp_path: Path) -> None:
    code, written, told = changed(table(), tmp_path)
    assert code == 0, told
    assert "settings: 0x2000 octets at 0x3fe000" in told
    assert len(written) == LENGTH
    rows = [(e.kind, e.subtype, e.offset, e.size, e.label.decode()) for e in partitions.read_table(written)]
    assert rows == [*ROWS[:-1], (1, 0x81, 0x310000, 0xEE000, "vfs"), (1, 0x06, 0x3FE000, 0x2000, "settings")]


def test_a_table_that_has_them_stays_as_it_is(tmp_path: Path) -> None:
    _, once, _ = changed(table(), tmp_path)
    assert changed(once, tmp_path)[1] == once


@pytest.mark.parametrize(
    ("read", "told"),
    [
        (b"\xff" * LENGTH, "no partition table"),
        (table()[: 32 * 5] + b"\xff" * LENGTH, "no partition of a file system"),
        (table().replace(b"vfs", b"vfx"), "sum does not fit"),
        (b"", "no partition table"),
    ],
    ids=["erased", "no file system", "damaged", "empty"],
)
def test_what_cannot_be_changed_is_left_alone(read: bytes, told: str, tmp_path: Path) -> None:
    code, written, said = changed(read, tmp_path)
    assert code == 1
    assert told in said
    assert written == b""


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("/dev/null",), "say PORT SERIAL_NUMBER HOTSPOT_KEY"),
        (("/dev/null", "MV2'; import os", "label key 1"), "is no serial number"),
        (("/dev/null", "MV2-1", "short"), "8 to 63 letters and digits"),
        (("/dev/no-such-port", "MV2-1", "longenough1"), "there is no port"),
    ],
)
def test_wrong_words_are_told_and_nothing_is_done(words: tuple[str, ...], told: str) -> None:
    done = subprocess.run([str(BOARD / "flash"), *words], capture_output=True, text=True, timeout=30.0, check=False)
    assert done.returncode == 2
    assert told in done.stderr
