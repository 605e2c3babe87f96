"""A flasher that is another program: it is run for each thing to do, and its exit code says whether that was done."""

import shlex
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager

from hil.core.bench_file import FlashCommands
from hil.core.build import Build, Image
from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.instruments.flasher.flasher import ChipIdentity, FlashCheck, Flasher
from hil.instruments.serial_ports import path_of

SAID_LINES = 3  # of what the program said last, in a message
FIELDS = {
    "erase": {"port"},
    "write": {"port", "file", "offset", "size"},
    "verify": {"port", "file", "offset", "size"},
    "erase_region": {"port", "offset", "size"},
}


class CommandFlasher(Flasher):
    """The flasher of one slot, as the bench file's commands."""

    def __init__(self, port: str, commands: FlashCommands) -> None:
        """Use these programs; `port` is what they are told for `{port}`.

        Raises:
            InputError: a command has a field that is not known, or quotes that do not end.
        """
        self._port, self._limit_s = port, commands.limit_s
        told = {name: getattr(commands, name) for name in FIELDS}
        self._words = {name: _words(name, text) for name, text in told.items() if text is not None}

    @contextmanager
    def session(self) -> Iterator[None]:
        """Each program makes its own connection."""
        yield

    def identity(self) -> ChipIdentity | None:
        """No command asks for it."""
        return None

    def write(self, build: Build) -> FlashCheck:
        """Write all images of a build, one after another, and check them."""
        for image in build.images:
            self._must("write", image)
        return self.verify(build)

    def verify(self, build: Build) -> FlashCheck:
        """Have each image compared."""
        differing = tuple(image.file.name for image in build.images if self._run("verify", image).returncode)
        return FlashCheck(not differing, "" if differing else build.sha256, differing)

    def erase_all(self) -> None:
        """Erase the whole flash."""
        self._must("erase")

    def erase_region(self, offset: int, size: int) -> None:
        """Erase a region, where there is a command for it."""
        if "erase_region" not in self._words:
            raise InstrumentGone("flasher", "it has no command to erase a region.", "Add flasher.command.erase_region.")
        self._must("erase_region", offset=offset, size=size)

    def _must(self, name: str, image: Image | None = None, *, offset: int = 0, size: int = 0) -> None:
        done = self._run(name, image, offset=offset, size=size)
        if done.returncode:
            said = " / ".join((done.stdout + done.stderr).strip().splitlines()[-SAID_LINES:]) or "nothing"
            problem = f"`{shlex.join(done.args)}` ended with {done.returncode} and said: {said}."
            raise BenchError("flasher", problem, f"Look at power and cable, and at flasher.command.{name}.")

    def _run(
        self, name: str, image: Image | None = None, *, offset: int = 0, size: int = 0
    ) -> "subprocess.CompletedProcess[str]":
        file = ""
        if image is not None:
            file, offset, size = str(image.file.resolve()), image.offset, len(image.content())
        told = {
            "port": path_of(self._port, "console.port"),
            "file": file,
            "offset": f"{offset:#x}",
            "size": f"{size:#x}",
        }
        words = [word.format(**told) for word in self._words[name]]
        remedy = f"Look at flasher.command.{name} in the bench file."
        try:
            return subprocess.run(
                words, capture_output=True, text=True, errors="replace", timeout=self._limit_s, check=False
            )
        except subprocess.TimeoutExpired:
            problem = f"`{shlex.join(words)}` did not end within {self._limit_s:g} s."
            raise BenchError("flasher", problem, f"{remedy} Or give it more with flasher.command.limit_s.") from None
        except OSError as error:
            raise BenchError("flasher", f"`{shlex.join(words)}` cannot be run: {error}.", remedy) from error


def _words(name: str, text: str) -> list[str]:
    """A command's words, with its fields still in them."""
    where, known = f"bench file: flasher.command.{name}", ", ".join(f"{{{field}}}" for field in sorted(FIELDS[name]))
    try:
        words = shlex.split(text)
        for word in words:
            word.format(**dict.fromkeys(FIELDS[name], ""))
    except (ValueError, KeyError, IndexError) as error:
        raise InputError(
            where, f"{text!r} cannot be understood: {error}.", f"Fields are {known}; quotes must end."
        ) from None
    return words
