"""Findings that a product file accepts by name, for a time: what can be accepted, and whether an acceptance holds.

    [accepted.open_port_8080]
    until = 2027-03-31
    reason = "service port of the pilot series"
    by = "N. N., product safety"

Each finding that can be accepted carries the provision of ETSI EN 303 645 V2.1.1 (2020-06) that it is held against; the
numbers are cited from memory, without the text at hand.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated

from pydantic import AfterValidator, Field

from hil.core.toml_file import Strict

STANDARD = "ETSI EN 303 645 V2.1.1"
OPEN_PORT = re.compile(r"open_port_([1-9][0-9]{0,4})")
HIGHEST_PORT = 65535


@dataclass(frozen=True, slots=True)
class NamedFinding:
    """A finding that can be accepted: what it is, and the provision it goes against."""

    words: str
    provision: str

    @property
    def against(self) -> str:
        """As the text of a finding ends."""
        return f"against {STANDARD}, {self.provision}"


UNUSED_INTERFACE = "5.6-1 (unused network interfaces are disabled; from memory)"
AUTHENTICATED_CHANGE = "5.5-5 (configuration changes only after authentication; from memory)"
ENCRYPTED_PARAMETERS = "5.5-6 (critical security parameters are encrypted in transit; from memory)"

NAMED: Mapping[str, NamedFinding] = {
    "settings_without_key": NamedFinding("the settings page opens without its key", AUTHENTICATED_CHANGE),
    "save_without_key": NamedFinding("settings are saved without the key", AUTHENTICATED_CHANGE),
    "default_key": NamedFinding(
        "a default key opens the settings page after another was set",
        "5.1-1 (no universal default passwords; from memory)",
    ),
    "save_from_another_site": NamedFinding(
        "settings are saved at the word of another site's page", AUTHENTICATED_CHANGE
    ),
    "secret_in_page": NamedFinding("a secret stands in a page", ENCRYPTED_PARAMETERS),
    "secret_on_console": NamedFinding(
        "a secret is said on the console",
        "5.4-1 (sensitive security parameters are stored securely; from memory)",
    ),
    "secret_in_air": NamedFinding("a secret is in the air in clear", ENCRYPTED_PARAMETERS),
    "secret_in_leases": NamedFinding("a secret stands in the list of leases", ENCRYPTED_PARAMETERS),
}
"""Every finding that can be accepted, but for open ports: those are called `open_port_` and their number."""


class Acceptance(Strict):
    """Who accepts a finding, why, and until when: that day included."""

    until: date
    reason: Annotated[str, Field(min_length=1)]
    by: Annotated[str, Field(min_length=1)]

    def holds_on(self, day: date | None) -> bool:
        """Whether it holds for a run that began on a day; for a run that does not say when, it does not."""
        return day is not None and day <= self.until


def named_finding(name: str) -> NamedFinding | None:
    """The finding of a name; None where none is called so."""
    port = OPEN_PORT.fullmatch(name)
    if port and int(port[1]) <= HIGHEST_PORT:
        return NamedFinding(f"TCP port {port[1]} is open", UNUSED_INTERFACE)
    return NAMED.get(name)


def _known_only(accepted: dict[str, Acceptance]) -> dict[str, Acceptance]:
    unknown = next((name for name in accepted if named_finding(name) is None), None)
    if unknown is not None:
        known = ", ".join([*sorted(NAMED), "open_port_N (N from 1 to 65535)"])
        raise ValueError(f"no finding is called {unknown!r}; those that can be accepted are {known}")
    return accepted


Acceptances = Annotated[dict[str, Acceptance], AfterValidator(_known_only)]


def day_of(began: str) -> date | None:
    """The day on which a run began, as its record says it (ISO 8601); None where it does not."""
    try:
        return date.fromisoformat(began[:10])
    except ValueError:
        return None
