"""The flasher, over RFC 2217 and the reset lines, against the virtual chip's loader (which test_loader holds to esptool)."""

import io
import json
import socket
import subprocess
import sys
import tarfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from esptool import cmds
from support.loader_board import ADDRESS, FIRMWARE, PICTURES_AT, Board

import hil.instruments.flasher.loader
from hil.core.build import Build, load_build
from hil.core.errors import BenchError, InputError
from hil.instruments.flasher import ChipIdentity, NoLoader
from hil.instruments.flasher.loader import LoaderFlasher
from hil.instruments.flasher.loader_port import open_loader_port
from hil.virtual.board.flash import Flash
from hil.virtual.board.image import IMAGE_AT, pack_image

LIMIT_S = 10.0


class WornFlash(Flash):
    """A flash with one bit, in the first byte of `pictures.bin`, that no programming clears any more."""

    def program(self, at: int, data: bytes) -> None:
        if at == PICTURES_AT:
            data = bytes([data[0] | 0x20]) + data[1:]
        super().program(at, data)


def test_writes_checks_and_erases_in_one_session(
    board: Board, build: Build, capsys: pytest.CaptureFixture[str]
) -> None:
    lines: list[str] = []
    flasher = LoaderFlasher(board.url, chip="esp32", on_line=lines.append)
    board.flash.program(0x90000, b"settings")
    with flasher.session():
        assert flasher.identity() == ChipIdentity("ESP32", ADDRESS, 1 << 20)
        assert flasher.write(build).matches
        assert board.flash.read(0x10000, len(FIRMWARE)) == FIRMWARE
        assert board.flash.read(0x90000, 8) == b"settings"
        flasher.erase_region(0x90000, 0x2000)
        assert board.flash.read(0x90000, 0x2000) == b"\xff" * 0x2000
        check = flasher.verify(build)
        assert (check.matches, check.seen_sha256, check.differing) == (True, build.sha256, ())
        flasher.erase_all()
    assert board.flash.read(0, board.flash.size) == b"\xff" * board.flash.size
    assert board.starts == ["loader"]
    assert "Hash of data verified." in lines
    assert capsys.readouterr() == ("", "")


def test_finds_the_chip_itself_and_works_without_a_stub(board: Board, build: Build) -> None:
    flasher = LoaderFlasher(board.url, use_stub=False)
    with flasher.session():
        assert flasher.identity().chip == "ESP32"
        assert flasher.write(build).matches
        assert flasher.read(0x10000, 1000) == FIRMWARE[:1000]
        flasher.erase_all()
    assert board.flash.read(0, board.flash.size) == b"\xff" * board.flash.size


def test_a_changed_byte_is_seen_and_named(board: Board, build: Build) -> None:
    flasher = LoaderFlasher(board.url, chip="esp32")
    with flasher.session():
        flasher.write(build)
        board.flash.program(PICTURES_AT + 0x10, b"\x00")
        check = flasher.verify(build)
    assert not check.matches
    assert check.differing == ("pictures.bin",)
    assert check.seen_sha256 != build.sha256


def test_what_was_read_back_gives_the_sum_of_the_build_that_is_there(board: Board, build: Build) -> None:
    flasher = LoaderFlasher(board.url, chip="esp32")
    with flasher.session():
        flasher.write(build)
        there = build.sha256
        build.images[0].file.write_bytes(FIRMWARE[:-1] + b"3")
        check = flasher.verify(build)
    assert not check.matches
    assert check.seen_sha256 == there != build.sha256


@pytest.mark.parametrize("board", [WornFlash], indirect=True)
def test_flash_that_does_not_hold_what_is_written_is_a_finding_and_no_error(board: Board, build: Build) -> None:
    check = LoaderFlasher(board.url, chip="esp32").write(build)
    assert not check.matches
    assert check.differing == ("pictures.bin",)


def test_a_chip_that_does_not_answer_in_its_loader(board: Board, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hil.instruments.flasher.loader, "CONNECT_ATTEMPTS", 1)
    board.deaf = True
    with pytest.raises(NoLoader, match=board.url) as caught:
        LoaderFlasher(board.url, chip="esp32").identity()
    assert caught.value.remedy
    assert board.starts == ["loader"]


def test_a_wrong_chip_family_in_the_bench_file(board: Board) -> None:
    with pytest.raises(BenchError, match="This chip is ESP32, not ESP32-S2") as caught:
        LoaderFlasher(board.url, chip="esp32s2").identity()
    assert not isinstance(caught.value, NoLoader)


def test_a_port_that_is_not_there(board: Board) -> None:
    board.port.close()
    with pytest.raises(BenchError, match="cannot be opened") as caught:
        LoaderFlasher(board.url, chip="esp32").identity()
    assert not isinstance(caught.value, NoLoader)


def test_a_port_that_the_console_has_not_let_go_of(board: Board) -> None:
    console = open_loader_port(board.url)
    with pytest.raises(BenchError, match=f"{board.url}: the port cannot be opened.*nothing else holds it"):
        LoaderFlasher(board.url, chip="esp32").identity()
    console.close()


def test_a_device_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BenchError, match="cannot be opened"):
        LoaderFlasher(str(tmp_path / "ttyUSB9"), chip="esp32").identity()


def test_a_link_that_breaks_in_the_middle_is_the_benchs_fault(
    board: Board, build: Build, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cmds, "DEFAULT_CONNECT_ATTEMPTS", 1)  # the library tries to come back, once a second
    flasher = LoaderFlasher(board.url, chip="esp32")
    with flasher.session():
        board.cut_after = 300
        with pytest.raises(BenchError, match=board.url) as caught:
            flasher.write(build)
    assert not isinstance(caught.value, NoLoader)


def test_the_port_is_free_again_after_each_call(board: Board) -> None:
    flasher = LoaderFlasher(board.url, chip="esp32")
    assert flasher.identity() == flasher.identity()
    assert board.starts == ["loader", "loader"]


def test_an_unknown_chip_family_is_an_input_error() -> None:
    with pytest.raises(InputError, match=r"esp99.*esp32"):
        LoaderFlasher("rfc2217://127.0.0.1:1", chip="esp99")


def firmware_image(source: bytes) -> bytes:
    """An image whose application is this one file."""
    payload = io.BytesIO()
    with tarfile.open(fileobj=payload, mode="w") as archive:
        entry = tarfile.TarInfo("main.py")
        entry.size = len(source)
        archive.addfile(entry, io.BytesIO(source))
    return pack_image(payload.getvalue())


@pytest.fixture
def powered_board(tmp_path: Path) -> Iterator[str]:
    """The virtual board as the process it is on a bench, with its flash empty and its supply on; gives its port."""
    config = {
        "air_port": 1,
        "flash_file": str(tmp_path / "flash"),
        "truth_file": str(tmp_path / "truth"),
        "speed": 4.0,
        "address": ADDRESS.hex(":"),
        "serial": "MV2-000123",
        "label_key": "key of the label",
    }
    command = [sys.executable, "-m", "hil.virtual.board", json.dumps(config)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        ready = json.loads(process.stdout.readline())
        with socket.create_connection(("127.0.0.1", ready["control_port"]), timeout=LIMIT_S) as control:
            control.sendall(b'{"op":"power","on":true}\n')
            assert json.loads(control.makefile("rb").readline())["ok"]
            yield f"rfc2217://127.0.0.1:{ready['serial_port']}"
        process.stdin.close()
        process.wait(LIMIT_S)


def test_what_was_written_to_the_virtual_board_runs_after_a_hard_reset(powered_board: str, tmp_path: Path) -> None:
    (tmp_path / "app.img").write_bytes(firmware_image(b"print('vent at 40 %')\nwhile True: pass\n"))
    (tmp_path / "build.toml").write_text(f'version = "3"\n[[images]]\nfile = "app.img"\noffset = {IMAGE_AT:#x}\n')
    flasher = LoaderFlasher(powered_board, chip="esp32")
    with flasher.session():
        assert flasher.identity().address == ADDRESS
        flasher.erase_all()
        assert flasher.write(load_build(tmp_path)).matches
    port = open_loader_port(powered_board)
    port.timeout = LIMIT_S
    port.rts = True
    port.rts = False
    heard = port.read_until(b"vent at 40 %")
    port.close()
    assert b"SPI_FAST_FLASH_BOOT" in heard
    assert heard.endswith(b"vent at 40 %")
