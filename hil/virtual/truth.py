"""What really happened in the virtual world, line by line: written by its processes, read by tests only."""

import contextlib
import json
import time
from pathlib import Path
from typing import Protocol

__all__ = ["NoTruth", "TruthFile", "TruthWriter"]


class TruthWriter(Protocol):
    """Where a part of the world says what it did."""

    def __call__(self, what: str, **more: object) -> None:
        """Book one happening, at the present time unless `t` says when."""


class TruthFile:
    """A file of JSON lines `{"t": monotonic seconds, "what": ..., ...}`, each on disk when the call returns."""

    def __init__(self, path: Path) -> None:
        """Append to `path`."""
        self._file = path.open("a", encoding="utf-8")

    def __call__(self, what: str, **more: object) -> None:
        """Write one line."""
        line = json.dumps({"t": time.monotonic(), "what": what, **more}) + "\n"
        with contextlib.suppress(OSError):  # a full disk takes no truth, and must not end the world
            self._file.write(line)
            self._file.flush()

    def close(self) -> None:
        """Close the file."""
        with contextlib.suppress(OSError):
            self._file.close()


class NoTruth:
    """Keeps nothing: for a world nobody asks."""

    def __call__(self, what: str, **more: object) -> None:
        """Forget it."""
