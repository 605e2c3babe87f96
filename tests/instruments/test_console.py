"""The console, fed by pseudo-terminals, by sockets through pyserial's own URLs, and by the virtual board's adapter."""

import json
import os
import random
import socket
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import pytest
import serial

import hil.instruments.console
from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError
from hil.core.moments import Moment
from hil.core.timeline import Expired, Timeline
from hil.instruments.console import LINE_LIMIT, LINES_A_SECOND, Console
from hil.instruments.power.reset_line import ConsoleReset
from hil.virtual.world import ControlLine, WorldProcess

LIMIT_S = 20.0

# pyserial 3.5's client still calls methods of threads that Python has renamed.
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\) is deprecated:DeprecationWarning")


class Unit:
    """What stands at the other end of a console: `say` writes, `unplug` takes the port away."""

    def __init__(self, kind: str) -> None:
        self._kind = kind
        if kind == "pseudo-terminal":
            self._ours, self._theirs = os.openpty()
            tty.setraw(self._ours)
            self.port = os.ttyname(self._theirs)
        else:
            self._server = socket.create_server(("127.0.0.1", 0))
            self._link: socket.socket | None = None
            self.port = f"socket://127.0.0.1:{self._server.getsockname()[1]}"

    def say(self, said: bytes) -> None:
        if self._kind == "pseudo-terminal":
            for at in range(0, len(said), 1024):
                os.write(self._ours, said[at : at + 1024])
        else:
            self._linked().sendall(said)

    def _linked(self) -> socket.socket:
        if self._link is None:
            self._server.settimeout(LIMIT_S)
            self._link, _ = self._server.accept()
        return self._link

    def unplug(self) -> None:
        """Lets what was said be read first, as a cable does that is slower to pull than a line is to carry."""
        if self._kind == "pseudo-terminal":
            os.close(self._ours)
            self._ours = -1
        else:
            self._linked().close()
            self._server.close()
            self._link = None

    def plug(self) -> None:
        """Put it back where it was: a socket only."""
        self._server = socket.create_server(("127.0.0.1", int(self.port.rpartition(":")[2])))

    def close(self) -> None:
        if self._kind == "pseudo-terminal":
            for end in (self._ours, self._theirs):
                if end >= 0:
                    os.close(end)
        else:
            for link in (self._link, self._server):
                if link is not None:
                    link.close()


@pytest.fixture(params=["pseudo-terminal", "socket"])
def unit(request: pytest.FixtureRequest) -> Iterator[Unit]:
    made = Unit(request.param)
    yield made
    made.close()


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.fixture
def open_console(timeline: Timeline, tmp_path: Path) -> Iterator[Callable[[str], Console]]:
    """Open consoles that write to `console.raw`; they are closed after the test."""
    with ExitStack() as stack:

        def start(port: str) -> Console:
            console = Console(port, timeline, tmp_path / "console.raw")
            stack.callback(console.close)
            console.open()
            return console

        yield start


def seen(
    timeline: Timeline, kind: str, count: int = 1, match: Callable[[Moment], bool] = lambda _: True
) -> list[Moment]:
    """Wait for so many moments of a kind of the console."""
    found: list[Moment] = []

    def enough(moment: Moment) -> bool:
        if moment.is_("console", kind) and match(moment):
            found.append(moment)
        return len(found) >= count

    assert not isinstance(timeline.wait(enough, limit_s=LIMIT_S, awaited=kind, since=0), Expired), timeline.since()
    return found


def texts(timeline: Timeline) -> list[str]:
    return [m.text("text") for m in timeline.since() if m.is_("console", "line")]


def test_every_byte_is_kept(
    unit: Unit, timeline: Timeline, open_console: Callable[[str], Console], tmp_path: Path
) -> None:
    said = random.Random(7).randbytes(50_000) + b"\nthe end\n"
    open_console(unit.port)
    unit.say(said)
    limit = threading.Event()
    while (tmp_path / "console.raw").stat().st_size < len(said):  # the lines themselves may be too many to be told
        assert not limit.wait(0.01)
        assert timeline.clock.now_s() < LIMIT_S
    assert (tmp_path / "console.raw").read_bytes() == said


def test_lines_are_told_with_what_is_no_utf_8_as_escapes(
    unit: Unit, timeline: Timeline, open_console: Callable[[str], Console]
) -> None:
    open_console(unit.port)
    unit.say("grün\r\n".encode() + b"\xff\xfe\x00\x1b[2J\n\nlast\n")
    seen(timeline, "line", 4)
    assert texts(timeline) == ["grün", "\\xff\\xfe\x00\x1b[2J", "", "last"]


def test_a_line_in_two_writes_is_one(unit: Unit, timeline: Timeline, open_console: Callable[[str], Console]) -> None:
    open_console(unit.port)
    unit.say(b"stage: ")
    unit.say(b"setup\n")
    seen(timeline, "line")
    assert texts(timeline) == ["stage: setup"]


def test_a_long_line_is_told_in_pieces_that_say_so(
    unit: Unit, timeline: Timeline, open_console: Callable[[str], Console]
) -> None:
    open_console(unit.port)
    unit.say(b"a" * (2 * LINE_LIMIT) + b"b\nnext\n")
    pieces = seen(timeline, "line", 4)
    assert [len(m.text("text")) for m in pieces] == [LINE_LIMIT, LINE_LIMIT, 1, 4]
    assert [m.data.get("cut", False) for m in pieces] == [True, True, False, False]


def test_a_line_that_never_ends_is_told_all_the_same(
    unit: Unit, timeline: Timeline, open_console: Callable[[str], Console]
) -> None:
    open_console(unit.port)
    unit.say(b"x" * (3 * LINE_LIMIT + 5))
    seen(timeline, "line", 3)
    unit.unplug()
    seen(timeline, "lost")
    rest = seen(timeline, "line", 4)[-1]
    assert rest.text("text") == "x" * 5


def test_a_flood_is_counted_and_over_when_it_is(
    unit: Unit, timeline: Timeline, open_console: Callable[[str], Console]
) -> None:
    open_console(unit.port)
    sent = 3 * LINES_A_SECOND
    unit.say(b"rubbish\n" * sent)
    seen(timeline, "flood")
    over = threading.Event()
    timeline.listen(lambda moment: over.set() if moment.is_("console", "flood over") else None)
    while not over.wait(0.1):
        unit.say(b"one more\n")
        sent += 1
        assert timeline.clock.now_s() < LIMIT_S
    unit.say(b"the end\n")
    seen(timeline, "line", match=lambda m: m.text("text") == "the end")
    counted = sum(m.number("lines") for m in timeline.since() if m.is_("console", "flood over"))
    assert len(texts(timeline)) + counted == sent + 1
    begin, end = (next(m for m in timeline.since() if m.is_("console", kind)) for kind in ("flood", "flood over"))
    assert begin.time_s <= end.time_s


def test_the_file_has_an_end_and_that_is_booked_once(
    unit: Unit,
    timeline: Timeline,
    open_console: Callable[[str], Console],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(hil.instruments.console, "RAW_LIMIT", 1000)
    open_console(unit.port)
    unit.say(b"y" * 999 + b"\n" + b"z" * 500 + b"\nmore\nthe end\n")
    seen(timeline, "line", match=lambda m: m.text("text") == "the end")
    assert (tmp_path / "console.raw").read_bytes() == b"y" * 999 + b"\n"
    assert len(seen(timeline, "overrun")) == 1


def test_a_port_that_is_lost_is_booked_and_can_be_opened_again(timeline: Timeline, tmp_path: Path) -> None:
    unit = Unit("socket")
    console = Console(unit.port, timeline, tmp_path / "console.raw")
    console.open()
    unit.say(b"before\nand a rest")
    seen(timeline, "line")
    unit.unplug()
    seen(timeline, "lost")
    console.close()
    unit.plug()
    console.open()
    unit.say(b"after\n")
    seen(timeline, "line", match=lambda m: m.text("text") == "after")
    console.close()
    unit.close()
    assert texts(timeline) == ["before", "and a rest", "after"]
    assert (tmp_path / "console.raw").read_bytes() == b"before\nand a restafter\n"


def test_a_port_that_comes_back_is_opened_again_by_itself(timeline: Timeline, tmp_path: Path) -> None:
    unit = Unit("socket")
    console = Console(unit.port, timeline, tmp_path / "console.raw")
    console.open()
    unit.say(b"before\n")
    seen(timeline, "line")
    unit.unplug()
    seen(timeline, "lost")
    with pytest.raises(BenchError, match="while the port is lost"):
        console.reset(asked_by="leg")
    unit.plug()
    seen(timeline, "opened", 2)
    unit.say(b"after\n")
    seen(timeline, "line", match=lambda m: m.text("text") == "after")
    console.close()
    unit.close()
    kinds = [m.kind for m in timeline.since() if m.kind in ("opened", "lost", "closed")]
    assert kinds == ["opened", "lost", "opened", "closed"]


def test_a_full_disk_is_the_bench_s_trouble_and_the_lines_go_on(unit: Unit, timeline: Timeline) -> None:
    """/dev/full gives what a full disk gives (Linux, full(4))."""
    console = Console(unit.port, timeline, Path("/dev/full"))
    console.open()
    unit.say(b"one\ntwo\n")
    seen(timeline, "line", 2)
    console.close()
    assert "No space left" in str(timeline.trouble)


@pytest.mark.parametrize("port", ["/dev/ttyNONE7", "tin-can://7", os.devnull])
def test_what_is_no_port_is_wrong_input(timeline: Timeline, tmp_path: Path, port: str) -> None:
    with pytest.raises(InputError, match=r"console\.port") as told:
        Console(port, timeline, tmp_path / "console.raw").open()
    assert repr(port) in str(told.value)


def test_a_port_that_others_hold_is_a_busy_bench(timeline: Timeline, tmp_path: Path) -> None:
    unit = Unit("pseudo-terminal")
    with serial.Serial(unit.port, exclusive=True), pytest.raises(BenchError, match="another program"):
        Console(unit.port, timeline, tmp_path / "console.raw").open()
    unit.close()


def test_a_port_we_hold_is_ours_alone(open_console: Callable[[str], Console]) -> None:
    unit = Unit("pseudo-terminal")
    console = open_console(unit.port)
    with pytest.raises(serial.SerialException, match="exclusively lock"):
        serial.Serial(unit.port, exclusive=True)
    console.close()
    unit.close()


def test_nobody_at_the_port_is_a_broken_bench(timeline: Timeline, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(BenchError, match="refused"):
        Console(f"socket://127.0.0.1:{port}", timeline, tmp_path / "console.raw").open()


def test_the_reset_line_of_a_closed_port_is_the_bench_s_fault(timeline: Timeline, tmp_path: Path) -> None:
    with pytest.raises(BenchError, match="while the port is closed"):
        Console("loop://", timeline, tmp_path / "console.raw").reset("test")


@contextmanager
def virtual_board(folder: Path) -> Iterator[tuple[str, ControlLine]]:
    """The virtual board under supply: its port, and its switch."""
    with ExitStack() as stack:
        air = WorldProcess("air", {"seed": 1})
        stack.callback(air.stop)
        board = WorldProcess(
            "board",
            {
                "air_port": air.port("port"),
                "flash_file": str(folder / "flash.bin"),
                "truth_file": str(folder / "truth.jsonl"),
                "address": "02:00:00:12:34:56",
                "serial": "MV2-00001",
                "label_key": "label key 1",
            },
        )
        stack.callback(board.stop)
        switch = ControlLine("power", board.port("control_port"))
        stack.callback(switch.close)
        switch.ask({"op": "power", "on": True})
        yield f"rfc2217://127.0.0.1:{board.port('serial_port')}", switch


def test_opening_leaves_the_board_alone_and_the_reset_line_restarts_it(timeline: Timeline, tmp_path: Path) -> None:
    """Against the virtual board over RFC 2217: its own truth tells what its reset pin saw."""
    with (
        virtual_board(tmp_path) as (port, switch),
        closing(Console(port, timeline, tmp_path / "console.raw")) as console,
    ):
        console.open()
        switch.ask({"op": "state"})
        assert pin(tmp_path) == []
        mark = timeline.mark()
        console.reset("test")
        assert isinstance(start_after(timeline, mark), Moment)
        assert pin(tmp_path) == [True, False]
        order = next(m for m in timeline.since() if m.is_("console", "reset line"))
        assert order.text("asked_by") == "test"
        released = next(m for m in timeline.since() if m.is_("console", "reset line released"))
        let_go_s = timeline.clock.at(next(at_s for held, at_s in pin_times(tmp_path) if not held))
        assert abs(released.time_s - let_go_s) <= released.doubt_s


def test_a_unit_that_is_held_in_reset_starts_once_it_is_let_go(timeline: Timeline, tmp_path: Path) -> None:
    """In place of a supply, and while the console closes and opens: the virtual board's reset pin is the truth."""
    with (
        virtual_board(tmp_path) as (port, switch),
        closing(Console(port, timeline, tmp_path / "console.raw")) as console,
    ):
        power = ConsoleReset(timeline, console)
        console.open()
        power.off(asked_by="test")
        console.close()
        console.open()
        switch.ask({"op": "state"})
        assert (power.read_back(), pin(tmp_path)) == (False, [True])
        mark = timeline.mark()
        power.on(asked_by="test")
        assert isinstance(start_after(timeline, mark), Moment)
        assert (power.read_back(), pin(tmp_path)) == (True, [True, False])
        power.off(asked_by="test")
        power.close()
        console.close()
        with pytest.raises(BenchError, match="while the port is closed"):
            console.reset("test")
        switch.ask({"op": "state"})
        assert pin(tmp_path)[-1] is False


def start_after(timeline: Timeline, mark: int) -> Moment | Expired:
    """The chip's own announcement of a start."""
    return timeline.wait(
        lambda m: m.is_("console", "line") and "rst:0x" in m.text("text"),
        limit_s=LIMIT_S,
        awaited="a start",
        since=mark,
    )


def pin(folder: Path) -> list[bool]:
    """What the board's reset pin saw, as the world itself tells it."""
    return [held for held, _ in pin_times(folder)]


def pin_times(folder: Path) -> list[tuple[bool, float]]:
    """The same with its times, on the host's monotonic clock."""
    lines = [json.loads(line) for line in (folder / "truth.jsonl").read_text(encoding="utf-8").splitlines()]
    return [(line["held"], line["t"]) for line in lines if line["what"] == "reset line"]
