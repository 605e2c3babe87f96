"""What every flasher does: puts builds on a unit, and sees what is there.

It works over the console's port, so the console must have let go of it; and it may leave the chip in its loader, so a hard
reset must follow.
"""

from abc import ABC, abstractmethod
from contextlib import AbstractContextManager
from dataclasses import dataclass

from hil.core.build import Build
from hil.core.errors import BenchError


class NoLoader(BenchError):
    """The port is there, but no chip answered in its loader: the unit's power, lines or chip."""


@dataclass(frozen=True)
class ChipIdentity:
    """What the chip says of itself: its family, its address of 6 bytes, and the size of its flash in bytes."""

    chip: str
    address: bytes
    flash_size: int | None


@dataclass(frozen=True)
class FlashCheck:
    """Whether a build is on the unit.

    `seen_sha256` is the sum (as of `Build.sha256`) over what stands where its images belong: the build's where all of it is as
    built, else made from what was read back; empty where nothing can be. `differing` says which images, by file name, are
    not as built.
    """

    matches: bool
    seen_sha256: str
    differing: tuple[str, ...] = ()


class Flasher(ABC):
    """The flasher of one slot."""

    @abstractmethod
    def session(self) -> AbstractContextManager[None]:
        """Keep the connection for all that is done within, instead of beginning anew for each call.

        Raises:
            BenchError: the port cannot be opened.
            NoLoader: no chip answers in its loader.
        """

    @abstractmethod
    def identity(self) -> ChipIdentity | None:
        """Ask the chip who it is; None where it cannot be asked.

        Raises:
            BenchError: asking failed.
        """

    @abstractmethod
    def write(self, build: Build) -> FlashCheck:
        """Write all images of a build and check them.

        A check that does not match means flash that does not hold what is written to it.

        Raises:
            BenchError: writing failed, and not for want of good flash.
        """

    @abstractmethod
    def verify(self, build: Build) -> FlashCheck:
        """Compare what is in the flash with a build.

        Raises:
            BenchError: comparing failed.
        """

    @abstractmethod
    def erase_all(self) -> None:
        """Erase the whole flash.

        Raises:
            BenchError: erasing failed.
        """

    @abstractmethod
    def erase_region(self, offset: int, size: int) -> None:
        """Erase a region given in bytes, both a multiple of 4096.

        Raises:
            BenchError: erasing failed.
            InstrumentGone: this one cannot erase a part.
        """
