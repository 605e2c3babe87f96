"""The decision rule: a reading with its doubt against limits.

Inside: the whole interval lies within the limits, both its ends known. Outside: the whole interval lies beyond a limit.
Between: nobody can say. This is a rule with a guard band of the reading's own doubt on both sides: for acceptance that
of ILAC-G8:09/2019, 4.2.2 (w = U); for rejection the same width, so that what is neither is `unjudged` and not failed.
"""

from math import inf, isfinite

from hil.core.readings import Reading
from hil.core.verdicts import Finding, Limits, Verdict
from hil.evidence.seen import worth_another_take

RULE = (
    "A reading passes when its whole interval (value ± doubt, 95 %) lies within the limits, and fails when its whole "
    "interval lies beyond a limit; a reading whose interval holds a limit is unjudged. Simple absence of an event counts "
    "only while the witness is proven awake."
)


def decide(reading: Reading, limits: Limits) -> Verdict:
    """Pass, fail or unjudged, by the rule above."""
    lower = -inf if limits.lower is None else limits.lower
    upper = inf if limits.upper is None else limits.upper
    if reading.low > upper or reading.high < lower:
        return Verdict.FAIL
    both_known = isfinite(reading.low) and isfinite(reading.high)
    if both_known and reading.low >= lower and reading.high <= upper:
        return Verdict.PASS
    return Verdict.UNJUDGED


def judge_reading(reading: Reading, limits: Limits, promised: str) -> Finding:
    """Decide, and put it in words."""
    verdict = decide(reading, limits)
    seen = str(reading)
    if verdict is Verdict.UNJUDGED:
        seen += f": {reading.because}" if reading.because else ": its doubt straddles the limit"
    straddles = not reading.because and isfinite(reading.doubt)
    retakable = verdict is Verdict.UNJUDGED and (straddles or worth_another_take(reading.because))
    return Finding(verdict, promised, seen, reading, limits, reading.at_s, retakable)
