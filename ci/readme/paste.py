"""Pastes real output into README.md: `python ci/readme/paste.py RUN_OUTPUT CHECK_OUTPUT`, two files of captured text.

The blocks stand between `<!-- output of: … -->` and `<!-- end -->`. `masked` is what a test compares by: the same text
but for numbers, names drawn anew each run and paths.
"""

import re
import sys
from pathlib import Path

README = Path(__file__).parents[2] / "README.md"
BLOCK = re.compile(r"(<!-- output of: [^>]*? -->\n```\n)(.*?)(```\n<!-- end -->)", re.DOTALL)


def blocks(text: str) -> list[str]:
    """The pasted outputs of a README."""
    return [match.group(2) for match in BLOCK.finditer(text)]


def masked(output: str) -> str:
    """Output with what changes from run to run blotted out."""
    output = re.sub(r"reports/\S+", "reports/RUN", output)
    output = re.sub(r"(?m)^  .* room\)$", "  READING", output)  # which are nearest changes with the machine's load
    output = re.sub(r"in \d+\.\d+s", "in SECONDS", output)
    output = re.sub(r"(?m)^ +\d", "0", output)
    return re.sub(r"[+-]?\d+(?:\.\d+)?", "0", output)


def paste(text: str, outputs: list[str]) -> str:
    """A README with these outputs in its blocks."""
    left = list(outputs)
    return BLOCK.sub(lambda match: match.group(1) + left.pop(0).rstrip() + "\n" + match.group(3), text)


def main() -> None:
    """Paste what the files named on the command line hold."""
    outputs = [Path(name).read_text(encoding="utf-8") for name in sys.argv[1:]]
    README.write_text(paste(README.read_text(encoding="utf-8"), outputs), encoding="utf-8")


if __name__ == "__main__":
    main()
