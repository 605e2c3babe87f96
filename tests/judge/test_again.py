"""Judging again from kept readings, held against judging the same readings directly under the new product file.

The direct way is the run loop's: the check's function under the other product file, its takes settled. No outside source.
"""

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import inf

import pytest

from hil.core.awake import Asleep
from hil.core.product import Bound, Product, load_product
from hil.core.promise_use import PromiseUse
from hil.core.readings import Reading
from hil.core.run_folder import RunInfo
from hil.core.verdicts import Verdict
from hil.evidence.seen import Seen
from hil.judge.again import NewPromises, RunAgain
from hil.judge.judge import Judge, excused, held_up_for_s, settled, verdict_of_findings
from hil.judge.kept import changed_keys, from_json, kept_run, promises_of, to_json
from hil.judge.results import Basis, CheckResult, run_verdict
from hil.virtual import DEMO_PRODUCT

PRODUCT = load_product(DEMO_PRODUCT)
INFO = RunInfo("r", "", "", [], partial=False)
KEYS = ("lamp_on_s", "hotspot_up_s", "gives_up_s", "connected_s")
Check = Callable[[Product, Judge], None]  # what one take's function does with the take's own readings


def with_limits(**bounds: Bound | None) -> Product:
    """The product file with some limits changed."""
    return PRODUCT.model_copy(update={"limits": PRODUCT.limits.model_copy(update=bounds)})


def judged(
    name: str, takes: Sequence[Check], product: Product, *, ended: Verdict | None = None, held_up_s: float = 0.0
) -> CheckResult:
    """Judge a check's takes as the run loop does; the bench was held up for so long in each."""
    held_up = [Asleep(1.0, 1.0 + held_up_s)] if held_up_s else []
    use = PromiseUse()
    handed, promises, found = use.for_checks(product), use.begin_check(), []
    for check in takes:
        judge = Judge()
        use.in_function(running=True)
        check(handed, judge)
        use.in_function(running=False)
        found.append(tuple(excused(judge.findings, held_up)))
    failed = any(finding.verdict is Verdict.FAIL for take in found for finding in take)
    verdict = ended if ended and not failed else verdict_of_findings(settled(found))
    basis = Basis(tuple(found), (held_up_for_s(held_up),) * len(found), ended, (), tuple(sorted(promises)))
    return CheckResult(name, name, (), (), verdict, tuple(f for take in found for f in take), basis=basis)


def again(results: Sequence[CheckResult], before: Product, after: Product, views_read: Sequence[str] = ()) -> RunAgain:
    """Keep a judging, read it back, and judge it under another product file."""
    kept = kept_run(INFO, run_verdict(results), results, before, views_read, broken=False)
    assert from_json(to_json(kept)) == kept
    return NewPromises(after).judge(kept)


def within(key: str, reading: Reading | Seen, what: str = "the time") -> Check:
    """A check of one reading."""
    return lambda product, judge: judge.within(getattr(product.limits, key), reading, what)


def all_within(key: str, readings: Mapping[str, Reading | Seen]) -> Check:
    """A check of a set of them."""
    return lambda product, judge: judge.all_within(getattr(product.limits, key), readings, "each time")


def drawn_reading(dice: random.Random) -> Reading | Seen:
    """A reading of any sort, or what was seen in place of one."""
    value, doubt = dice.uniform(0.0, 40.0), dice.choice([0.001, 0.05, 1.0, 8.0])
    return dice.choice(
        [
            Reading.of(value, doubt, "s"),
            Reading(value, inf, "s"),
            Reading(-inf, value, "s"),
            Reading(value, value + doubt, "s", "power: asleep for a while"),
            Reading(-inf, inf, "s", "camera: asleep"),
            Seen(False, "never seen"),
            Seen(None, "nobody looked"),
        ]
    )


def drawn_check(dice: random.Random) -> tuple[list[Check], Verdict | None, float]:
    """A check of one to three takes, what it ended with, and for how long the bench was held up in each."""
    key, takes = dice.choice(KEYS), dice.randint(1, 3)
    if dice.random() < 0.3:
        sets = [{f"start {n}": drawn_reading(dice) for n in range(dice.randint(0, 5))} for _ in range(takes)]
        checks = [all_within(key, readings) for readings in sets]
    else:
        checks = [within(key, drawn_reading(dice)) for _ in range(takes)]
    ended = dice.choice([None, None, None, Verdict.UNJUDGED, Verdict.NOT_REACHED])
    return checks, ended, dice.choice([0.0, 0.0, 0.2, 9.0])


def drawn_bound(dice: random.Random) -> Bound:
    """Limits of any sort."""
    low = dice.uniform(0.1, 20.0)
    high = low + dice.uniform(0.1, 20.0)
    return dice.choice([Bound(upper=high), Bound(lower=low), Bound(lower=low, upper=high)])


@pytest.mark.parametrize("seed", range(40))
def test_it_agrees_with_judging_directly_under_any_limits(seed: int) -> None:
    dice = random.Random(seed)
    before = with_limits(**{key: drawn_bound(dice) for key in KEYS})
    after = with_limits(**{key: drawn_bound(dice) for key in KEYS})
    drawn = {f"check {n}": drawn_check(dice) for n in range(12)}
    old, new = (
        [judged(name, takes, product, ended=end, held_up_s=held) for name, (takes, end, held) in drawn.items()]
        for product in (before, after)
    )
    found = again(old, before, after)
    assert [(c.name, c.before, c.after) for c in found.checks] == [
        (one.name, one.verdict, other.verdict) for one, other in zip(old, new, strict=True)
    ]
    assert found.after is run_verdict(new)


def test_the_draws_reach_every_change_of_verdict() -> None:
    """The control of the test above: among its draws are changes from and to each verdict that limits can make."""
    changes = set()
    for seed in range(40):
        dice = random.Random(seed)
        before = with_limits(**{key: drawn_bound(dice) for key in KEYS})
        after = with_limits(**{key: drawn_bound(dice) for key in KEYS})
        for _ in range(12):
            takes, ended, held_up_s = drawn_check(dice)
            both = [judged("c", takes, product, ended=ended, held_up_s=held_up_s) for product in (before, after)]
            changes.add(tuple(result.verdict for result in both))
    made = (Verdict.PASS, Verdict.FAIL, Verdict.UNJUDGED)
    assert changes >= {(one, other) for one in made for other in made}


SLOW = Reading.of(5.0, 0.1, "s")


def one(check: Check, after: Product, views_read: Sequence[str] = ()) -> tuple[Verdict | None, str]:
    """What one check comes to, and why."""
    found = again([judged("c", [check], PRODUCT)], PRODUCT, after, views_read)
    return found.checks[0].after, found.checks[0].why


def test_a_failure_under_the_new_limits_is_told_with_its_reading() -> None:
    after, why = one(within("hotspot_up_s", SLOW), with_limits(hotspot_up_s=Bound(upper=4.0)))
    assert (after, why) == (Verdict.FAIL, "the time (≤ 4 s): 5.00 ± 0.10 s")


def test_a_limit_that_the_check_reads_itself_is_undecided() -> None:
    def check(product: Product, judge: Judge) -> None:
        judge.within(Bound(upper=(product.limits.connected_s.upper or 0.0) + 2.0), SLOW, "the time")

    after, why = one(check, with_limits(connected_s=Bound(upper=1.0)))
    assert (after, why) == (None, "the check reads limits.connected_s.upper itself, which changed")


@pytest.mark.parametrize("gone", [True, False])
def test_a_promise_given_up_or_added_is_undecided(gone: bool) -> None:
    with_it, without = with_limits(lamp_on_s=Bound(upper=9.0)), with_limits(lamp_on_s=None)
    before, after = (with_it, without) if gone else (without, with_it)
    found = again([judged("c", [within("lamp_on_s", SLOW)], before)], before, after)
    assert found.checks[0].after is None
    assert found.checks[0].why == "the check reads limits.lamp_on_s itself, which changed"


def test_what_views_read_counts_for_every_check() -> None:
    after = PRODUCT.model_copy(update={"console": PRODUCT.console.model_copy(update={"start": "boot"})})
    assert one(within("hotspot_up_s", SLOW), after, ("console.start",))[0] is None
    assert one(within("hotspot_up_s", SLOW), after, ("console?", "console.speaks")) == (Verdict.PASS, "")


def test_a_promise_that_nothing_read_changes_nothing() -> None:
    assert one(within("hotspot_up_s", SLOW), PRODUCT.model_copy(update={"what": "another"})) == (Verdict.PASS, "")


def test_a_check_that_left_a_view_unread_is_not_let_pass() -> None:
    """By its evidence it would be an error: it may fail without reading all it names, not pass."""
    before = with_limits(hotspot_up_s=Bound(upper=4.0))
    result = judged("c", [within("hotspot_up_s", SLOW)], before)
    basis = replace(result.basis, unread=("air",))
    kept = CheckResult("c", "c", (), (), Verdict.FAIL, basis=basis)
    assert again([kept], before, PRODUCT).checks[0].after is None


@pytest.mark.parametrize(("held_up_s", "verdict"), [(0.5, Verdict.FAIL), (1.5, Verdict.UNJUDGED)])
def test_a_bench_that_was_held_up_for_longer_than_it_is_late_leaves_it_undecided(
    held_up_s: float, verdict: Verdict
) -> None:
    """A reading of 5 s ± 0.1 s, which passed, under a limit of 4 s."""
    result = judged("c", [within("hotspot_up_s", SLOW)], PRODUCT, held_up_s=held_up_s)
    assert again([result], PRODUCT, with_limits(hotspot_up_s=Bound(upper=4.0))).checks[0].after is verdict


def test_an_error_of_the_check_stays_what_it_was() -> None:
    error = CheckResult("c", "c", (), (), Verdict.UNJUDGED, basis=Basis(ended=Verdict.UNJUDGED))
    assert again([error], PRODUCT, with_limits(hotspot_up_s=Bound(upper=4.0))).checks[0].after is Verdict.UNJUDGED


def test_a_run_fails_though_some_checks_are_undecided_and_else_has_no_verdict() -> None:
    read = judged("read", [lambda p, j: j.within(Bound(upper=(p.limits.connected_s.upper or 0.0)), SLOW, "x")], PRODUCT)
    slow = judged("slow", [within("connected_s", SLOW)], PRODUCT)
    assert again([read, slow], PRODUCT, with_limits(connected_s=Bound(upper=4.0))).after is Verdict.FAIL
    assert again([read, slow], PRODUCT, with_limits(connected_s=Bound(upper=11.0))).after is None


def test_a_broken_bench_is_not_made_good_by_limits() -> None:
    before = with_limits(hotspot_up_s=Bound(upper=4.0))
    kept = kept_run(INFO, Verdict.FAIL, [judged("c", [within("hotspot_up_s", SLOW)], before)], before, (), broken=True)
    assert NewPromises(PRODUCT).judge(kept).after is Verdict.UNJUDGED


def test_changed_keys_are_those_that_differ() -> None:
    after = with_limits(hotspot_up_s=Bound(upper=4.0), lamp_on_s=None).model_copy(update={"name": "N"})
    assert changed_keys(promises_of(PRODUCT), promises_of(after)) == [
        "limits.hotspot_up_s.upper",
        "limits.lamp_on_s",
        "name",
    ]
    assert changed_keys(promises_of(PRODUCT), promises_of(PRODUCT)) == []


def test_what_is_no_kept_run_is_refused() -> None:
    with pytest.raises(ValueError, match="faults"):
        from_json(b'{"run": 3}')
