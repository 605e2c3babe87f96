"""A flasher that speaks with the chip's serial loader.

esptool is the library that does; its one logger for the process is ours from the first session on. It leaves the chip in its
loader, so a hard reset must follow.
"""

import hashlib
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol, cast

import serial
from esptool import cmds
from esptool.logger import TemplateLogger, log
from esptool.targets import CHIP_DEFS
from esptool.util import FatalError, flash_size_bytes
from rich.errors import MarkupError
from rich.text import Text

from hil.core.build import Build, sum_of
from hil.core.errors import BenchError, InputError
from hil.instruments.flasher.flasher import ChipIdentity, FlashCheck, Flasher, NoLoader
from hil.instruments.flasher.loader_port import Port, open_loader_port

#: Resets tried before a unit counts as silent; the library alternates a short and a long boot pin delay.
CONNECT_ATTEMPTS = 4

#: What may come out of the library, or of the port below it.
FOREIGN = (FatalError, serial.SerialException, OSError)


class _Chip(Protocol):
    """What is used of the library's connection to a chip."""

    CHIP_NAME: str
    IS_STUB: bool

    def connect(self, mode: str, attempts: int = ..., detecting: bool = ...) -> None: ...
    def flash_set_parameters(self, size: int) -> None: ...
    def flash_md5sum(self, addr: int, size: int) -> str: ...
    def read_mac(self) -> tuple[int, ...]: ...


class LoaderFlasher(Flasher):
    """The flasher of one slot, over the chip's own loader."""

    def __init__(
        self,
        port_url: str,
        *,
        chip: str = "auto",
        use_stub: bool = True,
        on_line: Callable[[str], None] = lambda _line: None,
    ) -> None:
        """Use the port at `port_url` (a device, or `rfc2217://host:port`), which is opened for each session only.

        Naming the chip family saves its detection. `use_stub` uploads the library's second-stage loader first, which
        writes faster and knows more; without it only the chip's ROM is used. `on_line` gets each line the library
        would print.

        Raises:
            InputError: the library knows no such chip family.
        """
        if chip != "auto" and chip not in CHIP_DEFS:
            known = ", ".join(["auto", *CHIP_DEFS])
            raise InputError("flasher: chip", f"{chip!r} is not a known chip family.", f"Use one of: {known}.")
        self._port_url, self._chip_family, self._use_stub, self._on_line = port_url, chip, use_stub, on_line
        self._chip: _Chip | None = None
        self._flash_size: int | None = None

    @contextmanager
    def session(self) -> Iterator[None]:
        """Keep the connection for all that is done within, instead of resetting into the loader for each call.

        Raises:
            BenchError: the port cannot be opened.
            NoLoader: no chip answers in its loader.
        """
        if self._chip is not None:
            yield
            return
        _LINES.hand_to(self._on_line)
        port = open_loader_port(self._port_url)
        try:
            self._chip = self._connect(port)
            yield
        finally:
            self._chip = None
            port.close()

    def identity(self) -> ChipIdentity:
        """Ask the chip who it is."""
        with self._working("asking the chip who it is") as chip:
            return ChipIdentity(chip.CHIP_NAME, bytes(chip.read_mac()), self._flash_size)

    def write(self, build: Build) -> FlashCheck:
        """Write all images of a build, erasing just the sectors they need, and check them.

        A check that does not match means flash that does not hold what is written to it.
        """
        pieces = _pieces(build)
        with self.session():
            failure: BenchError | None = None
            try:
                with self._working("writing the build") as chip:
                    cmds.write_flash(chip, [(at, content) for at, content, _ in pieces], no_progress=True)
            except BenchError as error:
                failure = error
            check = self.verify(build)
            # The library gives up with one kind of error both when the flash is bad and when the link is; the check
            # tells them apart: it goes through only over a good link.
            if failure is not None and check.matches:
                raise failure
            return check

    def verify(self, build: Build) -> FlashCheck:
        """Compare what is in the flash with a build."""
        pieces = _pieces(build)
        with self.session():
            with self._working("comparing the flash with the build") as chip:
                same = [chip.flash_md5sum(at, len(_filled(content))) == _md5(content) for at, content, _ in pieces]
            if all(same):
                return FlashCheck(matches=True, seen_sha256=build.sha256)
            seen = [(at, self.read(at, len(content))) for at, content, _ in pieces]
        differing = tuple(name for (_, content, name), (_, found) in zip(pieces, seen, strict=True) if content != found)
        return FlashCheck(matches=not differing, seen_sha256=sum_of(seen), differing=differing)

    def erase_all(self) -> None:
        """Erase the whole flash."""
        with self._working("erasing the flash") as chip:
            if chip.IS_STUB:
                cmds.erase_flash(chip)
            elif self._flash_size is None:
                raise BenchError(self._name, "the size of the flash is unknown.", "Erase with the stub.")
            else:
                cmds.erase_region(chip, 0, self._flash_size)

    def erase_region(self, offset: int, size: int) -> None:
        """Erase a region given in bytes, both a multiple of 4096."""
        with self._working(f"erasing {size} bytes at {offset:#x}") as chip:
            cmds.erase_region(chip, offset, size)

    def read(self, offset: int, size: int) -> bytes:
        """Read `size` bytes back."""
        with self._working(f"reading {size} bytes at {offset:#x}") as chip:
            return cast("bytes", cmds.read_flash(chip, offset, size, no_progress=True))

    @property
    def _name(self) -> str:
        return f"flasher on {self._port_url}"

    def _connect(self, port: Port) -> _Chip:
        """Reset the chip into its loader and make the flash ready."""
        chip = self._reach(port)
        try:
            if self._chip_family != "auto":
                # Comes after the reset, because a chip that answers as another family is no silent chip.
                chip.connect("no-reset-no-sync")
            chip = cast("_Chip", cmds.run_stub(chip)) if self._use_stub else chip
            cmds.attach_flash(chip)
            size = cmds.detect_flash_size(chip)
            self._flash_size = int(flash_size_bytes(size)) if size else None
            if self._flash_size is not None:
                chip.flash_set_parameters(self._flash_size)
        except FOREIGN as error:
            raise self._failed("making the flash ready", error) from error
        return chip

    def _reach(self, port: Port) -> _Chip:
        """Reset the chip until its loader answers."""
        try:
            if self._chip_family == "auto":
                return cast("_Chip", cmds.detect_chip(port, connect_attempts=CONNECT_ATTEMPTS))
            chip = cast("_Chip", CHIP_DEFS[self._chip_family](port))
            chip.connect("default-reset", CONNECT_ATTEMPTS, detecting=True)
            return chip
        except FOREIGN as error:
            remedy = "Check power, cable, and the reset and boot lines."
            raise NoLoader(self._name, f"no chip answers in its loader: {_first_line(error)}.", remedy) from error

    @contextmanager
    def _working(self, doing: str) -> Iterator[_Chip]:
        """Give the connected chip, and turn what the library raises into our error."""
        with self.session():
            assert self._chip is not None
            try:
                yield self._chip
            except FOREIGN as error:
                raise self._failed(doing, error) from error

    def _failed(self, doing: str, error: Exception) -> BenchError:
        remedy = "Check power, cable, and the chip the bench file names; then try again."
        return BenchError(self._name, f"{doing} failed: {_first_line(error)}.", remedy)


class _Lines(TemplateLogger):  # type: ignore[misc]  # the library has no types
    """Takes the place of the library's printing: whole lines of plain text go to a callback."""

    def __init__(self) -> None:
        self._on_line: Callable[[str], None] = lambda _line: None
        self._begun = ""
        self._in_place = False

    def hand_to(self, on_line: Callable[[str], None]) -> None:
        """Hand lines to `on_line` from now on."""
        self._on_line, self._begun = on_line, ""
        if not self._in_place:
            log.set_logger(self)
            self._in_place = True

    def print(self, *parts: object, end: str = "\n", **_look: object) -> None:
        """Take text that may be less or more than a line."""
        *lines, self._begun = (self._begun + " ".join(_plain(part) for part in parts) + end).split("\n")
        for line in filter(None, map(str.strip, lines)):
            self._on_line(line)

    def note(self, message: str) -> None:
        """Take a note."""
        self.print("Note:", message)

    def warning(self, message: str) -> None:
        """Take a warning."""
        self.print("Warning:", message)

    def error(self, message: str) -> None:
        """Take an error, which the library raises as well."""
        self.print("Error:", message)

    def warn(self, message: str, suggestion: str | None = None) -> None:
        """Take a warning under its newer name."""
        self.print("Warning:", message, suggestion or "")

    def err(self, message: str, suggestion: str | None = None) -> None:
        """Take an error under its newer name."""
        self.print("Error:", message, suggestion or "")

    def stage(self, finish: bool = False) -> None:
        """Nothing folds away here."""

    def progress_bar(self, *_args: object, **_more: object) -> None:
        """Lines say enough."""

    def set_verbosity(self, verbosity: str) -> None:
        """Everything is handed over."""


#: The library has one logger a process, and so have we: flashers at work at the same time share it.
_LINES = _Lines()


def _plain(part: object) -> str:
    """Text without the library's colour marks."""
    try:
        return Text.from_markup(str(part)).plain
    except MarkupError:
        return str(part)


def _first_line(error: Exception) -> str:
    """What went wrong, without the library's hints and links below it."""
    text = re.sub(r"\s+", " ", str(error).strip().partition("\n")[0])
    return (text or type(error).__name__).rstrip(".")


def _pieces(build: Build) -> list[tuple[int, bytes, str]]:
    return [(image.offset, image.content(), image.file.name) for image in build.images]


def _filled(content: bytes) -> bytes:
    """Content as it stands in the flash: the library fills images up to whole words with the erased value."""
    return content + b"\xff" * (-len(content) % 4)


def _md5(content: bytes) -> str:
    return hashlib.md5(_filled(content), usedforsecurity=False).hexdigest()
