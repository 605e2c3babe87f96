"""Measures the second product: its whole release run, and each of its known-bad units over all checks of its signature.

    ci/measure second                     some 15 min
    ci/measure second gives_up_late …     these units alone

Ends with 1 where the good unit does not pass or a known-bad one comes to anything else than its signature.
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from support.rain_sensor import accept, challenge, known_bad

LIMIT_S = 3600.0


def main(names: list[str]) -> int:
    """Run, and show what the commands print."""
    worst = 0
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        if not names:
            ended = accept(folder, "--profile", "release", limit_s=LIMIT_S)
            sys.stdout.write(ended.out + ended.err)
            worst = ended.code
        ended = challenge(folder / "challenge", names or known_bad(), limit_s=LIMIT_S)
        sys.stdout.write(ended.out + ended.err)
    return worst or ended.code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
