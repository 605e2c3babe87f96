"""What the flasher read back, against the build given (SHA-256 in hex, as `hil.core.build` states it)."""

from support.records import BUILD_SUM, FACTS, make, moment

from hil.core.moments import Moment
from hil.evidence.flash import FlashView


def view(*moments: Moment) -> FlashView:
    return FlashView(make(moments).window(100.0, 130.0))


def verified(time_s: float, seen: str) -> Moment:
    return moment(time_s, "flasher", "verified", matches=True, seen_sha256=seen)


def test_the_build_given() -> None:
    assert view(verified(110.0, BUILD_SUM)).holds_build().holds is True


def test_another_build_is_a_failure_whatever_the_flasher_says_of_it() -> None:
    seen = view(verified(110.0, BUILD_SUM[::-1])).holds_build()
    assert (seen.holds, seen.at_s) == (False, 110.0)


def test_the_last_reading_counts() -> None:
    assert view(verified(110.0, BUILD_SUM), verified(120.0, "00")).holds_build().holds is False


def test_a_chip_that_does_not_answer_is_the_unit_s_failure() -> None:
    seen = view(moment(110.0, "flasher", "no loader", why="no sync in 10 s")).holds_build()
    assert seen.holds is False
    assert "no sync in 10 s" in seen.text


def test_nothing_read_back_tells_nothing() -> None:
    seen = view(verified(90.0, BUILD_SUM)).holds_build()
    assert seen.holds is None
    assert seen.text.startswith("flasher")


def test_a_sum_of_nothing_matches_no_record_of_the_build() -> None:
    facts = {"unit": FACTS["unit"], "trial": FACTS["trial"]}
    window = make([verified(110.0, "")], facts=facts).window(100.0, 130.0)
    assert FlashView(window).holds_build().holds is None
