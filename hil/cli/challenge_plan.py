"""What is driven of a unit whose right verdict is known.

Of a golden one, a profile; of a known-bad one, the legs of the checks that its signature is about, or for a brief look
those of the first check alone that must fail.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from inspect import getdoc

from hil_fixtures.wanted import legs_of, name_of

from hil.cli.challenged_unit import KnownUnit
from hil.cli.collected import collect
from hil.core.verdicts import Verdict
from hil.judge.signature import ExpectedVerdict
from hil.legs.leg import Profile

WIDEST: Profile = "release"  # what a signature may name checks of


@dataclass(frozen=True, slots=True)
class SuiteCheck:
    """A check of the suite: its name in the record, its title, the ids of its legs."""

    name: str
    title: str
    legs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """A unit and what is driven of it: of the profile the checks on these legs alone, or all where none is named.

    `speed` is in unit seconds a real second; None for the bench's usual one.
    """

    unit: KnownUnit
    profile: Profile
    legs: tuple[str, ...]
    speed: float | None

    def key(self, tool_revision: str) -> str:
        """What its result is known by, in hex: it stands for the same patch, driven alike by the same tool only."""
        driven = json.dumps([asdict(self.unit), self.profile, self.legs, self.speed, tool_revision])
        return hashlib.sha256(driven.encode()).hexdigest()


def suite_checks() -> tuple[SuiteCheck, ...]:
    """The checks of the shipped suite, but for those that take hours."""
    return tuple(
        SuiteCheck(
            name=name_of(item),
            title=(getdoc(getattr(item, "function", None)) or item.name).splitlines()[0].rstrip("."),
            legs=tuple(call.id for call in legs_of(item)),
        )
        for item in collect([f"--hil-profile={WIDEST}"])
    )


def plan_of(
    unit: KnownUnit, checks: Sequence[SuiteCheck], speed: float | None, golden: Profile, *, brief: bool = False
) -> Plan:
    """Plan a unit at the speed asked for; golden ones are driven over that profile, known-bad ones briefly or in full."""
    if unit.golden:
        return Plan(unit, golden, (), unit.speed_for(speed))
    first = next((c for c in checks if any(e.verdict is Verdict.FAIL and e.means(c.name) for e in unit.expected)), None)
    if first is None or not brief:
        return Plan(unit, WIDEST, legs_for(unit.expected, unit.legs, checks), unit.speed_for(speed))
    legs = tuple(dict.fromkeys([*first.legs, *unit.legs]))
    told = [check.name for check in checks if all({leg, leg.partition("[")[0]} & set(legs) for leg in check.legs)]
    expected = tuple(e for e in unit.expected if any(e.means(name) for name in told))
    return Plan(replace(unit, expected=expected), WIDEST, legs, unit.speed_for(speed))


def legs_for(
    expected: Sequence[ExpectedVerdict], further: Sequence[str], checks: Sequence[SuiteCheck]
) -> tuple[str, ...]:
    """The legs of the checks that a signature is about, and further ones, each once, in the suite's order."""
    meant = (check for check in checks if any(e.means(check.name) for e in expected))
    return tuple(dict.fromkeys([*(leg for check in meant for leg in check.legs), *further]))
