"""Pages by the hundred: the unit answers each, does not pause, does not restart, and its free memory does not shrink.

Free memory is what the unit states, so a unit that states too much is not caught by it; that it restarts or pauses in the
end, is. The limits are common practice, no source.
"""

from hil_acceptance.steady import judge_steady

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


def judge_memory(evidence: LegEvidence, product: Product, judge: Judge) -> None:
    """Judge what each kind of event cost of the free memory; over restarts, each with memory of its own, nobody can say."""
    promise = product.memory.leak_octets
    if promise is None:
        judge.not_promised("free memory that lasts")
        return
    one_life = evidence.resets.none_unasked()
    judge.holds(one_life, "one life over all the loads")
    if one_life.holds:
        for event, lost in evidence.loads().lost_memory().items():
            judge.within(promise, lost, f"free memory lost for good with each {event}")


def judge_answers(evidence: LegEvidence, product: Product, judge: Judge) -> None:
    """Judge the longest time without an answer."""
    judge.within(product.limits.answer_gap_s, evidence.loads().unanswered(), "longest time without an answer")


@needs("pages", "resets")
def test_memory_outlasts_many_loads(pages_many: LegEvidence, product: Product, judge: Judge) -> None:
    """Page loads, whole and aborted, cost no free memory for good."""
    judge_memory(pages_many, product, judge)


@needs("pages")
def test_answers_go_on_in_time_over_many_loads(pages_many: LegEvidence, product: Product, judge: Judge) -> None:
    """Over many page loads there is never long without an answer."""
    judge_answers(pages_many, product, judge)


@needs("pages")
def test_many_loads_are_answered_whole(pages_many: LegEvidence, judge: Judge) -> None:
    """Of many page loads each is answered whole."""
    judge.holds(pages_many.loads().whole(), "every load answered whole")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_over_many_loads(pages_many: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts over many page loads."""
    judge_steady(pages_many, judge)


@needs("pages", "resets")
def test_memory_outlasts_soak(pages_soak: LegEvidence, product: Product, judge: Judge) -> None:
    """Page loads by the thousand, aborted loads and rejoins cost no free memory for good."""
    judge_memory(pages_soak, product, judge)


@needs("pages")
def test_answers_go_on_in_time_over_soak(pages_soak: LegEvidence, product: Product, judge: Judge) -> None:
    """Over page loads by the thousand there is never long without an answer."""
    judge_answers(pages_soak, product, judge)


@needs("pages")
def test_soak_loads_are_answered_whole(pages_soak: LegEvidence, judge: Judge) -> None:
    """Of page loads by the thousand each is answered whole."""
    judge.holds(pages_soak.loads().whole(), "every load answered whole")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_over_soak(pages_soak: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts over page loads by the thousand, aborted loads and rejoins."""
    judge_steady(pages_soak, judge)
