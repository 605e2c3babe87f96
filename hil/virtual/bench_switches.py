"""The virtual bench's switches: the board's supply, and in the scene the bench's own lamp and the camera's exposure."""

from hil.core.errors import BenchError
from hil.core.timeline import Timeline
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.exposure import Exposure
from hil.instruments.power import Power, SupplyState
from hil.virtual.world import ControlLine


class VirtualPower(Power):
    """The supply of the virtual board."""

    def __init__(self, timeline: Timeline, control: ControlLine) -> None:
        """Switch by the board's control port."""
        super().__init__(timeline)
        self._control = control

    def _switch(self, on: bool) -> None:
        self._control.ask({"op": "power", "on": on})

    def _read(self) -> SupplyState:
        answer = self._control.ask({"op": "state"})
        return SupplyState(answer.get("on") is True, _number(answer.get("current_ma")), _number(answer.get("t")))


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None


class VirtualBenchLamp(BenchLamp):
    """The bench's own lamp in the scene."""

    def __init__(self, timeline: Timeline, control: ControlLine) -> None:
        """Switch by the scene's control port."""
        super().__init__(timeline)
        self._control = control

    def _switch(self, on: bool) -> None:
        level = 255 if on else 0
        self._control.tell({"lamp": "bench", "rgb": [level, level, level]})


class VirtualExposure(Exposure):
    """The exposure of the camera over the scene."""

    SHORTEST_S = 0.0003

    def __init__(self, control: ControlLine, frame_rate: float, exposure_s: float) -> None:
        """Set by the scene's control port; at first it is `exposure_s`."""
        self._control, self._longest_s, self._now_s = control, 1.0 / frame_rate, exposure_s

    def range_s(self) -> tuple[float, float]:
        """Up to the time between two frames."""
        return self.SHORTEST_S, self._longest_s

    def set(self, exposure_s: float) -> float:
        """Order it."""
        answer = self._control.ask({"op": "expose", "exposure_s": exposure_s})
        taken_s = _number(answer.get("exposure_s"))
        if taken_s is None:
            raise BenchError("virtual camera", f"takes no exposure of {1e3 * exposure_s:.1f} ms: {answer}.")
        self._now_s = taken_s
        return taken_s

    def now_s(self) -> float:
        """That of the beginning, or as it was ordered."""
        return self._now_s
