"""The timeline: nothing is lost, all is on disk as it happens, waits end. Held against lists kept beside it."""

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.moments import Moment
from hil.core.timeline import SEEN_KEPT, Expired, Timeline

SPEED = 20.0
LONG_S = 200.0  # unit seconds: ten real ones, never waited out by a test that passes
THREADS, EACH = 8, 250


@pytest.fixture
def timeline(tmp_path: Path) -> Iterator[Timeline]:
    made = Timeline(Clock(SPEED), tmp_path / "timeline.jsonl")
    yield made
    made.close()


def lines_of(file: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in file.read_text(encoding="utf-8").split("\n") if line]


def test_each_moment_is_on_disk_when_add_returns(timeline: Timeline, tmp_path: Path) -> None:
    for number in range(3):
        timeline.add("probe", "joined", number=number)
        on_disk = lines_of(tmp_path / "timeline.jsonl")
        assert [line["number"] for line in on_disk] == list(range(number + 1))


def test_many_threads_lose_nothing_and_share_no_line(timeline: Timeline, tmp_path: Path) -> None:
    begin = threading.Barrier(THREADS)
    heard: list[Moment] = []
    timeline.listen(heard.append)

    def tell(thread: int) -> None:
        begin.wait(timeout=10.0)
        for number in range(EACH):
            timeline.add(f"thread {thread}", "counts", number=number, padding="x" * 200)

    threads = [threading.Thread(target=tell, args=(thread,)) for thread in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60.0)
        assert not thread.is_alive()
    expected = {f"thread {thread}": list(range(EACH)) for thread in range(THREADS)}
    in_memory = [(m.source, m.number("number")) for m in timeline.since()]
    on_disk = [(line["source"], line["number"]) for line in lines_of(tmp_path / "timeline.jsonl")]
    assert on_disk == in_memory
    for source, numbers in expected.items():
        assert [number for name, number in in_memory if name == source] == numbers
    assert len(heard) == THREADS * EACH


def test_it_only_grows(timeline: Timeline) -> None:
    first = timeline.add("power", "on")
    taken = timeline.since()
    second = timeline.add("power", "off")
    assert taken == (first,)
    assert timeline.since() == (first, second)
    assert isinstance(timeline.since(), tuple)


def test_a_mark_separates_before_from_after(timeline: Timeline) -> None:
    timeline.add("power", "on")
    mark = timeline.mark()
    later = timeline.add("power", "off")
    assert timeline.since(mark) == (later,)


def test_a_time_given_is_kept_and_none_means_now(timeline: Timeline) -> None:
    assert timeline.add("air", "beacon", time_s=3.5, doubt_s=0.1).time_s == 3.5
    before_s = timeline.clock.now_s()
    assert before_s <= timeline.add("air", "beacon").time_s <= timeline.clock.now_s()


def test_details_and_keywords_are_both_kept(timeline: Timeline) -> None:
    moment = timeline.add("air", "beacon", details={"from": "02:00:00:00:00:01"}, channel=6)
    assert dict(moment.data) == {"from": "02:00:00:00:00:01", "channel": 6}


def test_a_wait_ends_with_the_moment_that_another_thread_adds(timeline: Timeline) -> None:
    waiting = threading.Event()

    def answer() -> None:
        assert waiting.wait(timeout=10.0)
        timeline.add("air", "seeks")
        timeline.add("air", "beacon", name="mossgate-ceac")

    thread = threading.Thread(target=answer)
    thread.start()
    mark = timeline.mark()
    waiting.set()
    found = timeline.wait(lambda m: m.kind == "beacon", limit_s=LONG_S, awaited="a beacon", since=mark)
    thread.join(timeout=10.0)
    assert isinstance(found, Moment)
    assert found.text("name") == "mossgate-ceac"
    assert timeline.awaiting is None


def test_a_wait_does_not_look_before_its_mark(timeline: Timeline) -> None:
    timeline.add("air", "beacon")
    assert not timeline.wait(lambda m: m.kind == "beacon", limit_s=0.2, awaited="a beacon")
    timeline_mark = timeline.mark()
    timeline.add("air", "beacon")
    assert timeline.wait(lambda m: m.kind == "beacon", limit_s=0.2, awaited="a beacon", since=timeline_mark)


def test_a_wait_that_expires_says_what_was_awaited_how_long_and_what_was_seen(timeline: Timeline) -> None:
    mark = timeline.mark()
    for number in range(SEEN_KEPT + 2):
        timeline.add("console", f"line {number}", time_s=float(number))
    ended = timeline.wait(lambda m: m.kind == "beacon", limit_s=0.4, awaited="a beacon of 'x'", since=mark)
    assert isinstance(ended, Expired)
    assert not ended
    assert (ended.awaited, ended.limit_s) == ("a beacon of 'x'", 0.4)
    assert [m.kind for m in ended.seen] == [f"line {n}" for n in range(2, SEEN_KEPT + 2)]
    text = str(ended)
    assert all(part in text for part in ("0.4 s", "a beacon of 'x'", "console line 6 at 6.00 s"))
    assert timeline.awaiting is None


def test_a_wait_that_saw_nothing_says_so(timeline: Timeline) -> None:
    assert "nothing" in str(timeline.wait(lambda _: False, limit_s=0.1, awaited="anything"))


def test_what_is_awaited_can_be_watched(timeline: Timeline) -> None:
    seen_while_waiting: list[object] = []
    timeline.listen(lambda _: seen_while_waiting.append(timeline.awaiting))
    mark = timeline.mark()
    awaiting = threading.Event()

    def tell() -> None:
        assert awaiting.wait(timeout=10.0)
        timeline.add("air", "seeks")
        timeline.add("air", "beacon")

    thread = threading.Thread(target=tell)
    thread.start()

    def match(moment: Moment) -> bool:
        return moment.kind == "beacon"

    def first_look(moment: Moment) -> bool:
        awaiting.set()
        return match(moment)

    timeline.add("air", "seeks")  # lets the first look set off the other thread
    timeline.wait(first_look, limit_s=LONG_S, awaited="a beacon", since=mark)
    thread.join(timeout=10.0)
    # The first moment was told before anything was awaited.
    assert seen_while_waiting[0] is None
    assert "a beacon" in str(seen_while_waiting[1])


class _Full:
    """A file on a disk that is full."""

    def write(self, text: str) -> int:
        raise OSError(28, "No space left on device")

    def close(self) -> None:
        """Nothing to close."""


def test_a_disk_that_takes_no_more_keeps_moments_in_memory_and_says_why(timeline: Timeline) -> None:
    before = timeline.add("power", "on")
    timeline._file.close()  # type: ignore[union-attr]
    timeline._file = _Full()  # type: ignore[assignment]
    heard: list[Moment] = []
    timeline.listen(heard.append)
    first, second = timeline.add("power", "off"), timeline.add("power", "on")
    assert timeline.trouble is not None
    assert "No space left on device" in timeline.trouble
    assert timeline.since() == (before, first, second)
    assert heard == [first, second]
    assert timeline.wait(lambda m: m.kind == "off", limit_s=0.1, awaited="off", since=0)


def test_text_of_a_unit_that_no_file_can_hold_is_trouble_not_an_exception(timeline: Timeline) -> None:
    moment = timeline.add("console", "line", text="\ud800")
    assert timeline.trouble
    assert timeline.since() == (moment,)


def test_moments_stay_readable_once_closed(timeline: Timeline) -> None:
    moment = timeline.add("power", "on")
    timeline.close()
    later = timeline.add("power", "off")
    assert timeline.since() == (moment, later)
    assert timeline.trouble is None


def test_a_timeline_without_a_file_is_one_in_memory() -> None:
    timeline = Timeline(Clock())
    assert timeline.since() == ()
    moment = timeline.add("power", "on")
    assert timeline.since() == (moment,)
