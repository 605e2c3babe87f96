"""The virtual bench's switches: the board's supply and the bench's own lamp in the scene."""

from hil.core.timeline import Timeline
from hil.instruments.bench_lamp import BenchLamp
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
