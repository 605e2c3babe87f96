"""The controls: each instrument is asked again and again, none waits for another, and one that is gone is booked once."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from itertools import pairwise

import pytest

from hil.core.clock import Clock
from hil.core.errors import BenchError
from hil.core.moments import Moment
from hil.core.timeline import Expired, Timeline
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.controls import Controls
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.power import Power, SupplyState
from hil.instruments.stations import AccessPoint, Details, Exchanged, Lease, Probe, SpareAddress

SPEED = 20.0
LIMIT_S = 400.0  # unit seconds
LIMIT_REAL_S = 20.0
Obey = Callable[[], None]


def obey() -> None:
    """An instrument that does."""


def gone() -> None:
    raise BenchError("test instrument", "does not answer.")


class StandInPower(Power):
    def __init__(self, timeline: Timeline, does: Obey) -> None:
        super().__init__(timeline)
        self._does = does

    def _switch(self, on: bool) -> None:
        raise AssertionError("a control never switches the supply")

    def _read(self) -> SupplyState:
        self._does()
        return SupplyState(on=True, current_ma=80.0)


class StandInAccessPoint(AccessPoint):
    def __init__(self, timeline: Timeline, does: Obey) -> None:
        super().__init__(timeline)
        self._does = does

    def _ask(self) -> Details:
        self._does()
        return {"members": 1}

    def _go_up(self, plan: NetworkPlan, radio: int) -> str:
        raise AssertionError("a control changes no network")

    def _go_down(self, radio: int) -> None:
        raise AssertionError("a control changes no network")

    def lease_of_bench(self) -> Lease:
        raise AssertionError("a control wants no lease")

    def _listen(self, port: int) -> socket.socket:
        raise AssertionError("a control wants no listener")

    def spare_address(self) -> SpareAddress:
        raise AssertionError("a control wants no address")


class StandInProbe(Probe):
    def __init__(self, timeline: Timeline, does: Obey) -> None:
        super().__init__(timeline)
        self._does = does

    def _ask(self) -> Details:
        self._does()
        return {}

    def join(self, name: str, passphrase: str | None, limit_s: float) -> Lease | None:
        raise AssertionError("a control joins nothing")

    def leave(self) -> None:
        raise AssertionError("a control leaves nothing")

    def _exchange(self, host: str, port: int, octets: bytes, limit_s: float) -> Exchanged:
        raise AssertionError("a control asks for nothing")


class StandInLamp(BenchLamp):
    def __init__(self, timeline: Timeline, does: Obey) -> None:
        super().__init__(timeline)
        self._does = does

    def _switch(self, on: bool) -> None:
        self._does()


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock(SPEED))


@pytest.fixture
def control(timeline: Timeline) -> Iterator[Callable[..., Controls]]:
    """Start controls over instruments that obey, but for those given; stopped after the test."""
    with ExitStack() as stack:

        def start(power: Obey = obey, access_point: Obey = obey, probe: Obey = obey, lamp: Obey = obey) -> Controls:
            controls = Controls(
                timeline,
                StandInPower(timeline, power),
                (StandInAccessPoint(timeline, access_point), StandInProbe(timeline, probe)),
                StandInLamp(timeline, lamp),
                seed=7,
            )
            stack.callback(controls.stop)
            controls.start()
            return controls

        yield start


def seen(timeline: Timeline, source: str, kind: str, count: int) -> list[Moment]:
    """Wait for so many moments."""
    found: list[Moment] = []

    def enough(moment: Moment) -> bool:
        if moment.is_(source, kind):
            found.append(moment)
        return len(found) >= count

    assert not isinstance(timeline.wait(enough, limit_s=LIMIT_S, awaited=f"{source} {kind}", since=0), Expired)
    return found


CONTROLS = [("power", "state"), ("access point", "answering"), ("probe", "answering"), ("bench lamp", "switched")]


def test_every_witness_has_its_control_again_and_again(timeline: Timeline, control: Callable[..., Controls]) -> None:
    control()
    for source, kind in CONTROLS:
        assert len(seen(timeline, source, kind, 5)) == 5


def test_the_bench_lamp_goes_on_and_off_in_an_irregular_rhythm(
    timeline: Timeline, control: Callable[..., Controls]
) -> None:
    control()
    switched = seen(timeline, "bench lamp", "switched", 12)
    assert [m.data["on"] for m in switched] == [True, False] * 6
    pauses_s = [after.time_s - before.time_s for before, after in pairwise(switched)]
    assert max(pauses_s) - min(pauses_s) > 0.1  # drawn from 0.3 to 0.7 s: a regular one could be met by a flashing lamp


@pytest.mark.parametrize(("source", "kind"), CONTROLS)
def test_one_that_is_gone_is_booked_once_and_the_others_go_on(
    timeline: Timeline, control: Callable[..., Controls], source: str, kind: str
) -> None:
    name = {"access point": "access_point", "bench lamp": "lamp"}.get(source, source)
    control(**{name: gone})
    told = seen(timeline, source, "gone", 1)
    assert "does not answer" in told[0].text("why")
    for other, other_kind in CONTROLS:
        if other != source:
            seen(timeline, other, other_kind, 5)
    assert sum(m.is_(source, "gone") for m in timeline.since()) == 1
    assert not any(m.is_(source, kind) for m in timeline.since())


def test_one_that_hangs_holds_up_no_other(timeline: Timeline, control: Callable[..., Controls]) -> None:
    release = threading.Event()

    def hang() -> None:
        release.wait(LIMIT_REAL_S)

    control(access_point=hang)
    for source, kind in CONTROLS:
        if source != "access point":
            seen(timeline, source, kind, 5)
    assert not any(m.source == "access point" for m in timeline.since())
    release.set()


def test_stopped_controls_book_nothing_more(timeline: Timeline, control: Callable[..., Controls]) -> None:
    controls = control()
    seen(timeline, "power", "state", 2)
    controls.stop()
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("control of")]
    mark = timeline.mark()
    over = timeline.wait(lambda _: True, limit_s=4.0, awaited="anything", since=mark)
    assert isinstance(over, Expired)


def test_the_round_trip_of_an_answer_is_told(timeline: Timeline, control: Callable[..., Controls]) -> None:
    control()
    for source in ("access point", "probe"):
        answer = seen(timeline, source, "answering", 1)[0]
        assert answer.number("took_s") >= 0.0
