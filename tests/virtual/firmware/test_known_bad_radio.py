"""Known-bad units on a small board: names on the hotspot, and which of several networks is joined, as their patches say."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import dns.message
import pytest

if TYPE_CHECKING:
    from conftest import Board

MakeApp = Callable[[str], Path]
NAME, KEY = "Here", "kk-canary-1"
SET_UP = {"network": NAME, "network_key": KEY, "unit_name": "north"}


def network(bssid: str, channel: int, signal: int, security: str = "wpa2") -> dict[str, object]:
    return {"ssid": NAME.encode().hex(), "bssid": bssid, "channel": channel, "signal": signal, "security": security}


STRONG, WEAK = network("0200000000c2", 6, -48), network("0200000000c1", 1, -73)


def in_setup(board: "Board", app: Path) -> None:
    board.power_on(app)
    board.wait_for_line("stage: setup")


def start_beside(board: "Board", app: Path, *seen: dict[str, object]) -> None:
    """Set a unit up by its form, then start it again beside networks of that name."""
    in_setup(board, app)
    assert board.post("/save", SET_UP).status_code == 200
    board.wait_for_order("reset")
    board.power_off()
    board.networks, board.seen, board.cause = {NAME: KEY}, list(seen), "software"
    board.power_on(app)


def ask(board: "Board", octets: bytes) -> None:
    board.send_event(datagram=octets.hex(), port=53, **{"from": "203.0.113.9", "from_port": 49152})


def query(kind: str = "A") -> bytes:
    return dns.message.make_query("captive.example.com", kind).to_wire()


def test_names_not_answered(micropython_board: "Board", patched: MakeApp) -> None:
    in_setup(micropython_board, patched("names_not_answered"))
    assert micropython_board.get("/").status_code == 200
    assert micropython_board.ordered("bind") == []


def test_names_wrong_address(micropython_board: "Board", patched: MakeApp) -> None:
    in_setup(micropython_board, patched("names_wrong_address"))
    micropython_board.wait_for_order("bind")
    ask(micropython_board, query())
    said = dns.message.from_wire(bytes.fromhex(str(micropython_board.wait_for_order("send")["data"])))
    assert [record.address for record in said.answer[0]] == ["203.0.113.2"]


def test_names_other_questions_ignored(micropython_board: "Board", patched: MakeApp) -> None:
    in_setup(micropython_board, patched("names_other_questions_ignored"))
    micropython_board.wait_for_order("bind")
    ask(micropython_board, query("AAAA"))
    ask(micropython_board, query("A"))
    said = dns.message.from_wire(bytes.fromhex(str(micropython_board.wait_for_order("send")["data"])))
    assert len(said.answer) == 1


def test_names_crash_on_broken(micropython_board: "Board", patched: MakeApp) -> None:
    in_setup(micropython_board, patched("names_crash_on_broken"))
    micropython_board.wait_for_order("bind")
    ask(micropython_board, b"")
    micropython_board.wait_for_line("Traceback")
    assert micropython_board.exit_code() == 1


def test_lease_without_name_server(micropython_board: "Board", patched: MakeApp) -> None:
    micropython_board.power_on(patched("lease_without_name_server"))
    assert micropython_board.wait_for_order("host").get("no_name_server") is True


@pytest.mark.parametrize("name", ["twin_weaker_joined", "twin_first_joined"])
def test_twin(micropython_board: "Board", patched: MakeApp, name: str) -> None:
    start_beside(micropython_board, patched(name), STRONG, WEAK)
    assert micropython_board.wait_for_order("join")["bssid"] == WEAK["bssid"]


def test_impostor_joined(micropython_board: "Board", patched: MakeApp) -> None:
    opened = network("0200000000c2", 6, -40, "open")
    start_beside(micropython_board, patched("impostor_joined"), opened, WEAK)
    assert micropython_board.wait_for_order("join")["key"] == ""


def test_address_pinned(micropython_board: "Board", patched: MakeApp) -> None:
    start_beside(micropython_board, patched("address_pinned"), WEAK)
    micropython_board.wait_for_line("stage: connected\n")
    assert "bssid" not in micropython_board.ordered("join")[0]
    micropython_board.send_event(event="left", reason=None)
    micropython_board.wait_for("another try", lambda: len(micropython_board.ordered("join")) > 1)
    assert micropython_board.ordered("join")[1]["bssid"] == "0200000000c1"


def test_channel_remembered(micropython_board: "Board", patched: MakeApp) -> None:
    """Its network is on channel 6 now: it is looked for, and no try is made there."""
    start_beside(micropython_board, patched("channel_remembered"), WEAK)
    micropython_board.wait_for_line("stage: connected\n")
    micropython_board.seen = [STRONG]
    micropython_board.send_event(event="left", reason=None)
    micropython_board.wait_for("two looks", lambda: len(micropython_board.ordered("scan")) > 1)
    assert len(micropython_board.ordered("join")) == 1
