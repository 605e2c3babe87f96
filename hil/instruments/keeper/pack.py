"""The keeper as one file that needs nothing but the system's own Python: to be put where only root may change it."""

import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[3]
FIRST = b"#!/usr/bin/python3 -IS\n"
PACKAGES = ("hil", "hil/instruments", "hil/instruments/keeper")
OWN = ("asked", "daemons", "kernel_calls", "room", "serve", "wire")
MODULES = ("hil/instruments/network_words.py", *(f"{PACKAGES[-1]}/{name}.py" for name in OWN))
MAIN = "from hil.instruments.keeper.serve import main\n\nmain()\n"


def write_keeper(into: Path) -> None:
    """Write it.

    Raises:
        OSError: it cannot be written there.
    """
    with into.open("wb") as file:
        file.write(FIRST)
        with zipfile.ZipFile(file, "w") as packed:
            for package in PACKAGES:
                packed.writestr(f"{package}/__init__.py", "")
            for module in MODULES:
                packed.writestr(module, (ROOT / module).read_text(encoding="utf-8"))
            packed.writestr("__main__.py", MAIN)
    into.chmod(0o755)
