"""Measures how honest the doubts of all timing readings are: drives routes on the virtual bench beside its truth.

    ci/measure doubt [ROUTES]      20 routes by default, about 25 s each

Prints, for each kind of reading and for all: how many, the share that holds the truth with its 95 % interval (Clopper and
Pearson), the median doubt, the 95th percentile of the true errors, and the ratio of the two. Ends with 1 when under 95 % of
all hold the truth or the median doubt is more than twice that percentile.
"""

import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from support.hard_bench import timed_route
from support.truth import Compared, Honesty, honesty

ROUTES = 20
FIRST_SEED = 1001
HEAD = f"{'reading':74} {'n':>4} {'holds':>7} {'95 % interval':>15} {'doubt':>8} {'error':>8} {'ratio':>6}"


def _line(kind: str, honest: Honesty) -> str:
    low, high = honest.coverage_95
    between = f"{low:.1%} … {high:.1%}"
    figures = f"{honest.readings:4d} {honest.coverage:7.1%} {between:>15}"
    return f"{kind:74} {figures} {honest.median_doubt_s:8.4f} {honest.error_95_s:8.4f} {honest.ratio:6.2f}"


def _table(compared: Sequence[Compared]) -> str:
    kinds = list(dict.fromkeys(one.kind for one in compared))
    lines = [_line(kind, honesty([one for one in compared if one.kind == kind])) for kind in kinds]
    return "\n".join([HEAD, *lines, _line("all", honesty(compared))])


def main(routes: int) -> int:
    """Drive, compare, print."""
    compared: list[Compared] = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(routes):
            compared += timed_route(Path(folder) / str(number), FIRST_SEED + number)
            print(f"route {number + 1} of {routes}: {len(compared)} readings", file=sys.stderr, flush=True)
    honest = honesty(compared)
    print(f"{routes} routes, seeds {FIRST_SEED} to {FIRST_SEED + routes - 1}; unit seconds, 4 in a real one")
    print(_table(compared))
    print(f"mere bounds, since a witness was asleep: {honest.readings - honest.measured}; not in doubt and error")
    for one in compared:
        if not one.contains:
            read = f"{one.reading.low:.4f} … {one.reading.high:.4f} s {one.reading.because}"
            print(f"missed in {one.reading.leg}: {one.kind}: truth {one.truth_s:.4f} s, read {read}")
    return 0 if honest.coverage >= 0.95 and honest.ratio <= 2.0 else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else ROUTES))
