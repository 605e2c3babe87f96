"""Many page loads, by hand-made records: every expected figure is counted here, in the test."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from math import inf

import pytest
from support.records import Made, awake, make, moment, product_with

from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.loads import LoadsView
from hil.evidence.seen import Seen

EVERY_S = 0.5
END_S = 400.0
PAGE = "<!DOCTYPE html><html><body><dl><dt>Free memory</dt><dd>{} octets</dd></dl></body></html>"
Plan = Sequence[tuple[str, float]]  # kind of event, and what it costs of the free memory


class Unit:
    """Answers loads one after another; `loads` are the purposes that are booked otherwise than as answered."""

    def __init__(self, free: float = 100_000.0) -> None:
        self.free, self.now_s = free, 10.0
        self.moments: list[Moment] = awake(0.0, END_S)
        self.pages: dict[str, bytes] = {}

    def load(self, purpose: str, cost: float = 0.0, *, kind: str = "answered", total_s: float = 0.1) -> None:
        self.free -= cost
        body = PAGE.format(int(self.free)).encode() if purpose.startswith("free") else b""
        name = f"{len(self.pages)}.body" if body else ""
        self.pages[name] = body
        self.moments.append(moment(self.now_s - 0.01, "leg", "asks for a page", purpose=purpose))
        self.moments.append(
            moment(
                self.now_s, "pages", kind, purpose=purpose, status=200 if kind == "answered" else None, total_s=total_s,
                content_type="text/html", url="http://192.0.2.23/now", file=name, sha256=hashlib.sha256(body).hexdigest(),
            )
        )  # fmt: skip
        self.now_s += EVERY_S + total_s

    def book(self, kind: str) -> None:
        self.moments.append(moment(self.now_s, "leg", kind, number=1))
        self.now_s += EVERY_S

    def made(self, *, label: str | None = "Free memory") -> Made:
        product = product_with(
            {"status": {"free_memory": label}, "memory": {"leak_octets": {"upper": 16} if label else None}}
        )
        return make(sorted(self.moments, key=lambda m: m.time_s), pages=self.pages, product=product)


def view(made: Made) -> LoadsView:
    return made.evidence(0.0, END_S).loads()


def unit_with(costs: dict[str, float], *, rejoins: bool = False) -> Unit:
    """Loads, aborted loads and loads again, by the plan of the shipped leg, with a look after every fourth."""
    unit, numbers = Unit(), dict.fromkeys(("load", "aborted load", "free memory"), 0)
    unit.load("load 1000", 5000.0)  # of the warm-up: whatever that costs, counts for nothing
    unit.book("has warmed up")
    for kind in (["load"] * 8 + ["aborted load"] * 8 + (["rejoin"] if rejoins else []) + ["load"] * 8) * 2:
        for _ in range(4 if kind != "rejoin" else 1):
            if kind == "rejoin":
                unit.free -= costs.get("rejoin", 0.0)
                unit.book("rejoins")
                continue
            numbers[kind] += 1
            unit.load(f"{kind} {numbers[kind]}", costs[kind], kind="answered" if kind == "load" else "hung up")
        numbers["free memory"] += 1
        unit.load(f"free memory {numbers['free memory']}", costs["load"])
    return unit


COSTS = (
    {"load": 0.0, "aborted load": 0.0},
    {"load": 200.0, "aborted load": 0.0},
    {"load": 8.0, "aborted load": 1000.0},
)


@pytest.mark.parametrize("costs", COSTS)
def test_what_each_kind_of_load_costs(costs: dict[str, float]) -> None:
    lost = view(unit_with(costs).made()).lost_memory()
    assert set(lost) == {"load", "aborted load"}
    for kind, expected in costs.items():
        reading = lost[kind]
        assert isinstance(reading, Reading)
        assert reading.unit == "octets"
        assert reading.low <= expected <= reading.high
        assert reading.doubt < 0.5


def test_rejoins_are_told_apart() -> None:
    lost = view(unit_with({"load": 10.0, "aborted load": 20.0, "rejoin": 3000.0}, rejoins=True).made()).lost_memory()
    values = {kind: reading.value for kind, reading in lost.items() if isinstance(reading, Reading)}
    assert values == pytest.approx({"load": 10.0, "aborted load": 20.0, "rejoin": 3000.0}, abs=0.5)


def test_of_looks_of_one_number_the_most_free_counts() -> None:
    """An answer under way takes memory, and gives it back: the second look of each pair sees none of the first's 900 octets."""
    unit = Unit()
    unit.book("has warmed up")
    for number in range(1, 13):
        unit.load(f"load {number}")
        unit.load(f"free memory {number}", 900.0)
        unit.load(f"free memory {number}", -900.0)
    lost = view(unit.made()).lost_memory()["load"]
    assert isinstance(lost, Reading)
    assert lost.value == pytest.approx(0.0, abs=1e-6)


def test_memory_that_comes_back_was_lent() -> None:
    """Two thousand octets less over some readings, and all there again at the end, are none lost; short of the end they are."""
    unit = unit_with({"load": 0.0, "aborted load": 0.0})
    pages = dict(unit.pages)
    names = [m.text("file") for m in unit.moments if m.text("purpose").startswith("free memory")]

    def less(chosen: list[str]) -> Reading | Seen:
        unit.pages = {name: b.replace(b"95000", b"93000") if name in chosen else b for name, b in pages.items()}
        sums = {name: hashlib.sha256(body).hexdigest() for name, body in unit.pages.items()}
        unit.moments = [
            replace(m, data={**m.data, "sha256": sums[m.text("file")]}) if m.source == "pages" else m
            for m in unit.moments
        ]
        return view(unit.made()).lost_memory()["load"]

    lent, lost = less(names[8:20]), less(names[8:])
    assert isinstance(lent, Reading)
    assert (lent.value, lent.doubt < 0.1) == (pytest.approx(0.0, abs=1e-6), True)
    assert isinstance(lost, Reading)
    assert lost.value is not None
    assert lost.value > 1.0


@pytest.mark.parametrize(
    ("stated", "taken"), [("38112", True), ("38112 bytes", True), ("37 kB", False), ("37.2", False)]
)
def test_only_whole_octets_count(stated: str, taken: bool) -> None:
    unit = unit_with({"load": 0.0, "aborted load": 0.0})
    unit.pages = {name: b.replace(b"95000 octets", stated.encode()) for name, b in unit.pages.items()}
    sums = {name: hashlib.sha256(body).hexdigest() for name, body in unit.pages.items()}
    unit.moments = [
        replace(m, data={**m.data, "sha256": sums[m.text("file")]}) if m.source == "pages" else m for m in unit.moments
    ]
    lost = view(unit.made()).lost_memory()["load"]
    assert isinstance(lost, Reading) is taken
    assert taken or (isinstance(lost, Seen) and lost.holds is False)


def test_a_page_without_the_figure_fails_and_too_few_figures_tell_nothing() -> None:
    unit = unit_with({"load": 0.0, "aborted load": 0.0})
    unit.pages = {name: body.replace(b"octets", b"").replace(b"95000", b"much") for name, body in unit.pages.items()}
    for at, m in enumerate(unit.moments):
        if m.text("file"):
            body = unit.pages[m.text("file")]
            unit.moments[at] = replace(m, data={**m.data, "sha256": hashlib.sha256(body).hexdigest()})
    stated = view(unit.made()).lost_memory()["load"]
    assert isinstance(stated, Seen)
    assert stated.holds is False

    few = Unit()
    few.book("has warmed up")
    for number in range(1, 4):
        few.load(f"free memory {number}")
    assert _untold(view(few.made()).lost_memory()["load"])


def test_what_was_not_recorded_tells_nothing() -> None:
    unit = unit_with({"load": 200.0, "aborted load": 0.0})
    without_warm_up = [m for m in unit.moments if m.kind != "has warmed up"]
    one_lost = [m for m in unit.moments if not (m.source == "pages" and m.data["purpose"] == "load 7")]
    for moments in (without_warm_up, one_lost, [m for m in unit.moments if m.source not in ("pages", "leg")]):
        unit.moments = moments
        assert _untold(view(unit.made()).lost_memory()["load"])


def test_a_unit_that_promises_no_figure_is_not_judged() -> None:
    lost = view(unit_with({"load": 0.0, "aborted load": 0.0}).made(label=None)).lost_memory()["load"]
    assert isinstance(lost, Seen)
    assert not lost.promised


def test_every_load_answered_whole_or_not() -> None:
    unit = unit_with({"load": 0.0, "aborted load": 0.0})
    assert view(unit.made()).whole().holds is True
    unit.load("load 900", kind="cut off")
    seen = view(unit.made()).whole()
    assert seen.holds is False
    assert "load 900: cut off" in seen.text


def test_a_body_that_is_not_what_was_recorded_is_untold() -> None:
    unit = unit_with({"load": 0.0, "aborted load": 0.0})
    unit.pages = dict.fromkeys(unit.pages, b"other")
    assert view(unit.made()).whole().holds is None


def test_the_longest_time_without_an_answer() -> None:
    """One load takes 1.5 s; later three in a row come to nothing, 0.1 s each and 0.5 s apart, and one is answered in 0.1 s."""
    unit = unit_with({"load": 0.0, "aborted load": 0.0})
    unit.load("load 900", total_s=1.5)
    _expect(view(unit.made()).unanswered(), 1.5, 1.5)
    for number in (901, 902, 903):
        unit.load(f"load {number}", kind="refused")
    unit.load("load 904")
    _expect(view(unit.made()).unanswered(), 1.9, 1.9)


def test_a_unit_that_answers_no_more_has_no_end() -> None:
    unit = unit_with({"load": 0.0, "aborted load": 0.0})
    unit.load("load 900", kind="silent", total_s=12.0)
    _expect(view(unit.made()).unanswered(), 12.0, inf)


def test_an_access_point_that_was_asleep_excuses_the_unit() -> None:
    unit = unit_with({"load": 0.0, "aborted load": 0.0})
    began_s = unit.now_s
    unit.load("load 900", kind="silent", total_s=12.0)
    unit.moments = [m for m in unit.moments if not (m.source == "access point" and began_s < m.time_s < began_s + 11.0)]
    made = unit.made()
    reading = view(made).unanswered()
    assert isinstance(reading, Reading)
    assert (reading.low, reading.because[:12]) == (0.0, "access point")


def _expect(reading: Reading | Seen, low: float, high: float) -> None:
    assert isinstance(reading, Reading)
    assert (reading.low, reading.high) == pytest.approx((low, high))


def _untold(seen: Reading | Seen) -> bool:
    return isinstance(seen, Seen) and seen.holds is None
