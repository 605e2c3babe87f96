"""Whether the bench was held up in a window: noticeably, and in that window."""

import pytest
from support.records import make, moment

from hil.evidence.held_up import NOTICEABLE_S, held_up


@pytest.mark.parametrize(
    ("begin_s", "for_s", "noticed"),
    [(10.0, 0.5, True), (10.0, 0.9 * NOTICEABLE_S, False), (4.8, 0.5, True), (4.4, 0.5, False), (20.1, 2.0, False)],
)
def test_it_is_noticed_where_it_matters(begin_s: float, for_s: float, noticed: bool) -> None:
    window = make([moment(begin_s, "bench", "held up", for_s=for_s)]).window(5.0, 20.0)
    found = [(stretch.begin_s, stretch.end_s) for stretch in held_up(window)]
    assert found == ([(begin_s, begin_s + for_s)] if noticed else [])


def test_a_bench_that_kept_up_says_nothing() -> None:
    assert held_up(make([]).window(5.0, 20.0)) == []
