"""What a window cuts out of a run, held against going over all moments one by one. No outside source: it is ours."""

import random
from collections.abc import Sequence

import pytest
from support.records import make

from hil.core.moments import Moment
from hil.evidence.window import Record, Window

PAGE = b"<html><title>Vent</title><body>shut</body></html>"
HTML = "text/html"


def record(moments: Sequence[Moment], pages: dict[str, bytes] | None = None) -> Record:
    """A record of these moments alone."""
    return make(moments, pages=pages).record


def answered(file: str, url: str) -> Moment:
    return Moment(1.0, 0.1, "pages", "answered", {"file": file, "content_type": HTML, "url": url})


@pytest.mark.parametrize("seed", range(5))
def test_of_is_what_lies_inside_in_order_of_time(seed: int) -> None:
    dice = random.Random(seed)
    moments = [
        Moment(float(dice.randint(0, 40)), 0.0, dice.choice("ab"), dice.choice("xyz"), {"number": number})
        for number in range(200)
    ]
    window = Window("leg", 10.0, 25.0, record(moments))
    for kinds in (["x"], ["x", "y"], ["z", "x", "y"], ["none"], []):
        in_order = [m for kind in kinds for m in sorted(moments, key=lambda m: m.time_s) if m.is_("a", kind)]
        whole = sorted(in_order, key=lambda m: m.time_s)
        assert window.all("a", *kinds) == tuple(whole)
        assert window.of("a", *kinds) == tuple(m for m in whole if 10.0 <= m.time_s <= 25.0)


def test_a_page_is_read_once_and_only_the_same_page_is_the_same() -> None:
    kept = record([], {"1": PAGE, "2": PAGE, "3": PAGE.replace(b"shut", b"open")})
    at, elsewhere = "http://203.0.113.1/now", "http://203.0.113.1/other"
    body, page = kept.answered(answered("1", at))
    assert (body, page.title, page.url) == (PAGE, "Vent", at)
    assert kept.answered(answered("2", at))[1] is page
    assert kept.answered(answered("3", at))[1].text == "open"
    assert kept.answered(answered("1", elsewhere))[1].url == elsewhere
    assert record([], {"1": PAGE}).answered(answered("1", at))[1] is not page


def test_an_answer_that_is_gone_has_no_body() -> None:
    assert record([]).answered(answered("1", "http://203.0.113.1/"))[0] == b""


def test_a_state_of_the_supply_with_an_earlier_stamp_is_not_fresh() -> None:
    stamps = [1.0, 2.0, 2.0, 1.5, None, 3.0]
    states = [
        Moment(float(at), 0.0, "power", "state", {"on": True} | ({} if stamp is None else {"stamp_s": stamp}))
        for at, stamp in enumerate(stamps)
    ]
    kept = record([*states, Moment(2.5, 0.0, "power", "off", {})])
    assert [m.time_s for m in kept.fresh_supply_states] == [0.0, 1.0, 4.0, 5.0]
    assert kept.supply_told_s == (0.0, 1.0, 2.5, 4.0, 5.0)
