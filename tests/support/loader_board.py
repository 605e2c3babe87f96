"""A board behind a serial adapter: a chip with its loader, whose firmware only says hello; and a build for it."""

import asyncio
import threading
from pathlib import Path

from hil.core.build import Build, load_build
from hil.virtual.board.flash import Flash
from hil.virtual.board.loader import DOWNLOAD_BANNER, Loader
from hil.virtual.board.serial_port import SerialPort

ADDRESS = bytes.fromhex("020000a1b27a")
FIRMWARE = bytes(range(256)) * 160 + b"MV-2"
PICTURES_AT = 0x40000
LIMIT_S = 10.0


class Board:
    """The board.

    `deaf` chips stay silent in their loader; `cut_after` drops the link once that many bytes came in.
    """

    def __init__(self, flash: Flash) -> None:
        self.flash = flash
        self.deaf = False
        self.cut_after: int | None = None
        self.starts: list[str] = []
        self.port = SerialPort(self._on_input, self._on_pins)
        self._loader: Loader | None = None
        self._in_reset = False
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever)
        self._thread.start()
        number = asyncio.run_coroutine_threadsafe(self.port.open(), self._loop).result(LIMIT_S)
        self.url = f"rfc2217://127.0.0.1:{number}"

    def close(self) -> None:
        asyncio.run_coroutine_threadsafe(self._shut(), self._loop).result(LIMIT_S)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(LIMIT_S)
        self._loop.close()

    async def _shut(self) -> None:
        self.port.close()
        others = asyncio.all_tasks() - {asyncio.current_task()}
        for task in others:
            task.cancel()
        await asyncio.gather(*others, return_exceptions=True)

    def _on_pins(self, enable_low: bool, boot_low: bool) -> None:
        if self._in_reset and not enable_low:
            self.starts.append("loader" if boot_low else "firmware")
            self._loader = Loader(self.flash, ADDRESS) if boot_low and not self.deaf else None
            self.port.write(DOWNLOAD_BANNER if boot_low else b"hello\r\n")
        self._in_reset = enable_low

    def _on_input(self, data: bytes) -> None:
        if self.cut_after is not None:
            self.cut_after -= len(data)
            if self.cut_after < 0:
                self.port.close()
                return
        if self._loader is not None:
            self.port.write(self._loader.feed(data))


def make_build(folder: Path) -> Build:
    """Two images, and a place for settings."""
    (folder / "vent.bin").write_bytes(FIRMWARE)
    (folder / "pictures.bin").write_bytes(b"\xc0\xff\x00" * 33)
    text = 'version = "2.4.1"\n[[images]]\nfile = "vent.bin"\noffset = 0x10000\n'
    text += (
        f'[[images]]\nfile = "pictures.bin"\noffset = {PICTURES_AT:#x}\n[[settings]]\noffset = 0x90000\nsize = 0x2000\n'
    )
    (folder / "build.toml").write_text(text)
    return load_build(folder)
