"""The unit's supply: its interface, and the ways in which a desk switches it."""

from hil.instruments.power.supply import Power, SupplyState

__all__ = ["Power", "SupplyState"]
