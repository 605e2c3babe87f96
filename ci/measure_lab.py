"""Holds every instrument to its contract, on the virtual parts and in the lab; then shows how late radio events come.

    ci/measure lab [OPTIONS]     some 30 min; options go to pytest

A contract holds where all its tests passed there. What only the lab has (the host's radios, and what goes wrong with them) has
no virtual counterpart. Ends with 1 where a contract does not hold, or was skipped in the lab.
"""

import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[1]
RUN = str(ROOT / "ci" / "lab" / "run")
LIMIT_S = 5400
WORDS = {"failure": "failed", "error": "failed", "skipped": "skipped"}


@dataclass
class Held:
    """How the tests of one contract ended, and how long they took."""

    ended: Counter[str] = field(default_factory=Counter)
    took_s: float = 0.0

    def __str__(self) -> str:
        told = ", ".join(f"{number} {word}" for word, number in sorted(self.ended.items(), reverse=True))
        return f"{told} ({self.took_s:.0f} s)"


def held_by(results: Path) -> dict[str, Held]:
    """Each contract by name, from a JUnit file; nothing where there is no such file."""
    found: dict[str, Held] = {}
    if not results.exists():
        return found
    for case in ET.parse(results).iter("testcase"):
        name = case.get("classname", "").rpartition(".")[2].removeprefix("test_").replace("_", " ")
        held = found.setdefault(name, Held())
        held.ended[next((WORDS[child.tag] for child in case if child.tag in WORDS), "passed")] += 1
        held.took_s += float(case.get("time", 0.0))
    return found


def table(virtual: dict[str, Held], lab: dict[str, Held]) -> str:
    """A line a contract."""
    lines = [f"{'contract':16} {'virtual':32} lab"]
    for name in sorted({*virtual, *lab}):
        here = virtual.get(name)
        told = "the lab's alone" if here is not None and set(here.ended) == {"skipped"} else str(here or "not run")
        lines.append(f"{name:16} {told:32} {lab.get(name, 'not run')}")
    return "\n".join(lines)


def main(options: list[str]) -> int:
    """Run both, and print."""
    pytest = [sys.executable, "-m", "pytest", "-v", "--color=no", "-p", "no:cacheprovider", "tests/contracts", *options]
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        here = subprocess.run([*pytest, f"--junitxml={folder / 'virtual.xml'}"], cwd=ROOT, check=False)
        in_lab = [RUN, "--results", str(folder), "--limit", str(LIMIT_S)]
        there = subprocess.run([*in_lab, *pytest, "--junitxml=/lab/results/lab.xml"], cwd=ROOT, check=False)
        print(table(held_by(folder / "virtual.xml"), held_by(folder / "lab.xml")), flush=True)
    events = [RUN, "--limit", "900", sys.executable, str(ROOT / "ci" / "lab" / "radio_events.py")]
    late = subprocess.run(events, cwd=ROOT, check=False)
    return int(any(done.returncode for done in (here, there, late)))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
