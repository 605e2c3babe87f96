"""Searching what was said and heard for canary secrets."""

from collections.abc import Sequence

from hil.core.awake import Asleep
from hil.core.text import count
from hil.evidence.air import AirView
from hil.evidence.console import ConsoleView
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.window import Window
from hil.page.search import find_secret

TOLD_OF_STATIONS = ("answering", "joined", "lease asked", "leased", "announced", "left", "wrong key", "reached")


def no_secret_said(console: ConsoleView, secrets: dict[str, str]) -> Seen:
    """Whether no line of the console holds a secret; lines are joined, so that a secret cut by a line end is found."""
    said = b"\n".join(m.text("text").encode() for m in console.lines)
    joined = b"".join(m.text("text").encode() for m in console.lines)
    for name, secret in secrets.items():
        found = find_secret(said, secret) or find_secret(joined, secret)
        if found:
            return Seen(False, f"{name} ({found[0].encoding}) on the console")
    if console.asleep:
        return Seen.untold(asleep_text(console.witness, console.asleep[0]))
    return Seen(True, f"{count(len(console.lines), 'line')} searched")


def no_secret_leased(window: Window, source: str, secrets: dict[str, str], gaps: Sequence[Asleep]) -> Seen:
    """Whether nothing that a station told of its network, leases among it, holds a secret."""
    told = window.of(source, *TOLD_OF_STATIONS)
    for moment in told:
        for name, secret in secrets.items():
            if found := find_secret(moment.to_line().encode(), secret):
                return Seen(False, f"{name} ({found[0].encoding}) in what the {source} tells", moment.time_s)
    if gaps:
        return Seen.untold(asleep_text(source, gaps[0]))
    return Seen(True, f"{len(told)} reports searched")


def no_secret_heard(air: AirView, secrets: dict[str, str]) -> Seen:
    """Whether no name or DHCP message in the air holds a secret."""
    heard = set(air.octets())
    for name, secret in secrets.items():
        for octets in heard:
            if found := find_secret(octets, secret):
                return Seen(False, f"{name} ({found[0].encoding}) in the air")
    if air.asleep:
        return Seen.untold(asleep_text(air.witness, air.asleep[0]))
    return Seen(True, f"{len(heard)} different names and messages searched")
