"""Attempts on a unit that must come to nothing, by the purposes that the evidence finds them by."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

PORTS = (21, 22, 23, 53, 80, 81, 443, 1883, 3232, 5353, 6053, 8080, 8081, 8266, 8443, 9100)
"""TCP ports at which such boards are found open: file transfer, shells, names, pages, brokers, updates, debugging, printing
(common practice, from memory)."""
TLS_PORT = 443

FORM_WITHOUT_PASSWORD = "form on the hotspot without the password"
LABEL_KEY = "settings with the label's key"
DEFAULT_KEYS: Mapping[str, str] = {"settings with an empty key": "", "settings with 'admin'": "admin"}
"""Keys that such pages are found to open with (common practice, from memory), by purpose."""

FOREIGN_FIELDS: Mapping[str, str] = {
    "Origin": "http://elsewhere.example",
    "Referer": "http://elsewhere.example/page.html",
}
"""What a browser adds when another site's page sends a form: RFC 6454, 7 and RFC 9110, 10.1.3; the name is of RFC 2606. It
says nothing of the kind of request (`Sec-Fetch-Site`), since it does so only to addresses it trusts (W3C Fetch Metadata)."""


@dataclass(frozen=True, slots=True)
class SaveAttempt:
    """A save that must be refused: with the key or not, from the unit's own page or another site's."""

    purpose: str
    with_key: bool
    foreign: bool

    @property
    def afterwards(self) -> str:
        """The purpose of the look at the settings after it."""
        return f"settings after the {self.purpose}"


WITHOUT_KEY = SaveAttempt("save without the key", with_key=False, foreign=False)
FROM_ANOTHER_SITE = SaveAttempt("save from another site", with_key=True, foreign=True)
SAVES = (WITHOUT_KEY, FROM_ANOTHER_SITE)


def ports_to_try(declared: Iterable[int] | None) -> tuple[int, ...]:
    """The usual ports and those a product declares."""
    return tuple(sorted({*PORTS, *(declared or ())}))


def port_purpose(port: int) -> str:
    """What the evidence finds a knock at a port by."""
    return f"port {port}"
