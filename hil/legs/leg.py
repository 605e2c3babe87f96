"""A leg: one stimulus, from a known stage to an end.

    @leg(begins=Off(store="bench network"), ends=Setup(), expected_s=lambda product: product.limits.hotspot_up_s.upper)
    def saved_network_absent(bench, product):
        '''Power up with the saved network out of reach and watch for the hotspot.'''
        ...

Declared once, by this decorator, which makes of it a session-scoped pytest fixture of the function's name: a check that
takes the fixture gets the leg's evidence. The fixture drives nothing; the run loop finds the declaration through the
item's fixtures and drives it when the route comes to it.

Limits that expire inside a leg are recorded and the leg ends: a unit that misbehaves is evidence, not an exception.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from inspect import getdoc, signature
from typing import Literal

import pytest

from hil.core.product import Product
from hil.core.stages import Situation
from hil.instruments.bench import Bench

Drive = Callable[..., None]
LEG_ATTRIBUTE = "hil_leg"
Profile = Literal["quick", "release", "soak"]
PROFILES: tuple[Profile, ...] = ("quick", "release", "soak")
"""How much is driven: for each board that leaves, for a build before its release, for hours. Each holds those before it."""
DECLARED: dict[str, "Leg"] = {}
"""Every leg without parameters declared so far, by name: what the planner may use as a bridge."""
PARAMETRISED: dict[str, "Leg"] = {}
"""Every leg with parameters declared so far."""


def _always(_product: Product) -> bool:
    return True


@dataclass(frozen=True)
class Leg:
    """A leg's declaration.

    `repeat` is how often it is driven and judged, fixed beforehand; `retakes` how often it may be driven again when a
    reading straddles its limit or a witness slept for a while. A leg with `last` comes after all others. `profile` is
    the first that drives it. Of a product that does not promise what it is about (`promised`) it is not driven, and
    its checks are not applicable. `switches` is how often the supply goes on or off in it.
    """

    name: str
    title: str
    begins: Situation
    ends: Situation
    drive: Drive
    expected_s: Callable[[Product], float]
    repeat: int
    retakes: int
    last: bool
    profile: Profile = "quick"
    promised: Callable[[Product], bool] = _always
    switches: int = 0

    def is_bridge(self, product: Product) -> bool:
        """Whether it may be driven only to get to the beginning of another."""
        return not self.last and self.promised(product)


@dataclass(frozen=True)
class LegCall:
    """A leg with its parameter: what the route is made of."""

    leg: Leg
    parameter: object = None
    parameter_id: str = ""

    @property
    def id(self) -> str:
        """Its name, with the parameter in brackets."""
        return f"{self.leg.name}[{self.parameter_id}]" if self.parameter_id else self.leg.name

    @property
    def begins(self) -> Situation:
        """Where it begins."""
        return self.leg.begins

    @property
    def ends(self) -> Situation:
        """Where it ends."""
        return self.leg.ends

    @property
    def last(self) -> bool:
        """Whether it comes after all others."""
        return self.leg.last

    def drive(self, bench: Bench, product: Product) -> None:
        """Drive it."""
        if "parameter" in signature(self.leg.drive).parameters:
            self.leg.drive(bench, product, self.parameter)
        else:
            self.leg.drive(bench, product)


def leg(
    *,
    begins: Situation,
    ends: Situation,
    expected_s: Callable[[Product], float],
    repeat: int = 1,
    retakes: int = 1,
    last: bool = False,
    profile: Profile = "quick",
    parameters: Sequence[object] | None = None,
    promised: Callable[[Product], bool] = _always,
    switches: int | None = None,
) -> Callable[[Drive], Callable[..., object]]:
    """Declare a leg; with `parameters` it takes a third argument, `parameter`, and each value is a leg of its own.

    `switches` is how often the supply goes on or off, where that is more often than beginning and end tell.
    """

    def declare(drive: Drive) -> Callable[..., object]:
        title = (getdoc(drive) or drive.__name__).splitlines()[0]
        declaration = Leg(
            drive.__name__,
            title,
            begins,
            ends,
            drive,
            expected_s,
            repeat,
            retakes,
            last,
            profile,
            promised,
            _least_switches(begins, ends) if switches is None else switches,
        )

        (DECLARED if parameters is None else PARAMETRISED)[declaration.name] = declaration

        def look_up(request: pytest.FixtureRequest, hil_run: "EvidenceShelf") -> object:
            return hil_run.evidence(declaration, getattr(request, "param", None))

        look_up.__doc__ = drive.__doc__
        setattr(look_up, LEG_ATTRIBUTE, declaration)
        return pytest.fixture(scope="session", name=drive.__name__, params=parameters, ids=str)(look_up)

    return declare


def _least_switches(begins: Situation, ends: Situation) -> int:
    """How often the supply must go on or off between two stages; a leg that begins and ends without it switches it on and off."""
    if begins.stage == "off":
        return 2 if ends.stage == "off" else 1
    return int(ends.stage == "off")


class EvidenceShelf:
    """Where a fixture looks evidence up; the run of the pytest session is one."""

    def evidence(self, leg: Leg, parameter: object) -> object:
        """The evidence of a leg.

        Raises:
            NotReachedError, UnjudgedError: there is none, and why.
        """
        raise NotImplementedError
