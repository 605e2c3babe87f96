"""The unit leaves the bench: the build that ran is the build given, and nothing of the bench is left in it."""

from hil_acceptance.texts import shipped_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


@needs("flash")
def test_build_that_ran_is_the_build_given(hand_over: LegEvidence, judge: Judge) -> None:
    """The build read back after the run is the build given."""
    judge.holds(hand_over.flash.holds_build(), "the flash holds the build given")


@needs("air", "probe", "power")
def test_handed_over_in_setup(hand_over: LegEvidence, judge: Judge) -> None:
    """The unit opens its hotspot as shipped, and is left without supply."""
    judge.holds(hand_over.air.named(), "the hotspot is on the air")
    judge.holds(hand_over.probe.got_in(), "the probe gets in, by the key on the label where it has one")
    judge.holds(hand_over.power.off_at_end(), "the supply is off")


@needs("access_point")
def test_bench_network_is_forgotten(hand_over: LegEvidence, judge: Judge) -> None:
    """The unit does not join the bench's network, which is in reach."""
    judge.holds(hand_over.access_point.never_joined(), "no attempt to join the bench's network")


@needs("pages")
def test_form_shows_nothing_of_the_bench(hand_over: LegEvidence, product: Product, judge: Judge) -> None:
    """The form shows the defaults and no canary."""
    pages = hand_over.pages
    judge.holds(pages.shows("form as shipped", shipped_values(product)), "the form shows the defaults")
    judge.holds(pages.without_texts(hand_over.canaries), "nothing of the bench in the form")
