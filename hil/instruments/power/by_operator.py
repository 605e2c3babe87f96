"""A supply that a person plugs in and unplugs. What they said last is all that is known of its state."""

from hil.core.timeline import Timeline
from hil.instruments.operator import Operator
from hil.instruments.power.supply import Power, SupplyState


class OperatorPower(Power):
    """The supply, by a person's hand."""

    by_hand = True

    def __init__(self, timeline: Timeline, operator: Operator, slot: str) -> None:
        """Know nothing of its state yet."""
        super().__init__(timeline)
        self._operator, self._slot = operator, slot
        self._is_on: bool | None = None

    def close(self) -> None:
        """Leave it as it is."""
        self._operator.close()

    def _switch(self, on: bool) -> None:
        if on is self._is_on:  # nobody is asked for what is so already
            return
        self._operator.do(f"{'plug in' if on else 'unplug'} the supply of the unit in slot {self._slot}")
        self._is_on = on

    def _read(self) -> SupplyState:
        return SupplyState(self._is_on is True)
