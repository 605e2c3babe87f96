"""Verdicts of runs, and exit codes. Held against the design's own words: "Of a run: any fail → fail; else any unjudged,
or any wanted check not reached, or nothing judged → unjudged; else pass", over every combination."""

from itertools import chain, combinations

import pytest

from hil.core.verdicts import EXIT_BENCH, EXIT_CODES, EXIT_INTERRUPTED, EXIT_WRONG_INPUT, Limits, Verdict, verdict_of

ALL_SETS = list(chain.from_iterable(combinations(Verdict, size) for size in range(len(Verdict) + 1)))


@pytest.mark.parametrize("present", ALL_SETS, ids=lambda present: ", ".join(present) or "nothing")
def test_the_verdict_of_a_run(present: tuple[Verdict, ...]) -> None:
    words = {str(verdict) for verdict in present}
    if "fail" in words:
        expected = "fail"
    elif "unjudged" in words or "not reached" in words or not words - {"not applicable"}:
        expected = "unjudged"
    else:
        expected = "pass"
    assert verdict_of(present) == expected
    assert verdict_of(reversed([*present, *present])) == expected


def test_exit_codes() -> None:
    assert {str(verdict): code for verdict, code in EXIT_CODES.items()} == {"pass": 0, "fail": 1, "unjudged": 3}
    assert (EXIT_WRONG_INPUT, EXIT_BENCH, EXIT_INTERRUPTED) == (2, 3, 130)


@pytest.mark.parametrize(
    ("limits", "text"),
    [
        (Limits(None, 30.0, "s"), "≤ 30 s"),
        (Limits(22.5, None, "s"), "≥ 22.5 s"),
        (Limits(22.5, 25.5, "s"), "22.5 … 25.5 s"),
    ],
)
def test_limits_in_words(limits: Limits, text: str) -> None:
    assert str(limits) == text
