"""The unit's whole program on a small board, under both interpreters: stages, lamp, joining, hotspot, crash.

Held against: the lamp's wire takes green, red, blue in this order (data sheet of the WS2812B); slow flashing is 0.4 to
0.8 Hz (IEC 60073). Names and figures of the product are those of its own description.
"""

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board, ReportServer


GREEN_ON_WIRE, BLUE_ON_WIRE, RED_ON_WIRE, DARK = (1, 0, 0), (0, 0, 1), (0, 1, 0), (0, 0, 0)
WHITE_ON_WIRE = (1, 1, 1)
SPEED = 20
"""Unit seconds in a real second on the small board."""


def lit(wire: object) -> tuple[int, ...]:
    """Return which of the wire's three octets are lit."""
    return tuple(int(octet > 0) for octet in bytes.fromhex(str(wire)))


def lamp(board: "Board") -> list[tuple[int, ...]]:
    """Return what the lamp was told, repeats left out."""
    told = [lit(order["wire"]) for order in board.ordered("lamp")]
    return [now for before, now in zip([None, *told], told, strict=False) if now != before]


def save_network(board: "Board", name: str, key: str) -> None:
    """Put a network into the settings by the form of the first start, and power off after the restart order."""
    board.power_on()
    board.wait_for_order("host")
    ticked = {} if key else {"network_open": "yes"}
    assert board.post("/save", {"network": name, "network_key": key, **ticked}).status_code == 200
    board.wait_for_order("reset")
    board.power_off()


def test_first_start_opens_the_hotspot_of_the_label(board: "Board") -> None:
    board.power_on()
    host = board.wait_for_order("host")
    assert bytes.fromhex(host["ssid"]) == b"mossgate-a41f"
    assert bytes.fromhex(host["key"]) == board.label_key.encode()
    assert (host["ip"], host["channel"]) == ("203.0.113.1", 6)
    assert board.ordered("join") == []
    board.wait_for("blue", lambda: lamp(board) == [WHITE_ON_WIRE, BLUE_ON_WIRE])
    assert board.console.startswith("mossgate MV-2 1.4.0 serial MV2-0001\n")
    assert "stage: setup\n" in board.console


def test_the_unit_counts_from_the_start_of_its_chip(board: "Board") -> None:
    board.awake_already_s = 600.0  # real seconds before the interpreter started
    board.power_on()
    board.wait_for_order("host")
    assert int(board.status()["Running for"].removesuffix(" s")) >= 600 * SPEED


def test_next_start_without_network_opens_the_hotspot_and_formats_nothing(board: "Board") -> None:
    board.power_on()
    board.wait_for_order("host")
    board.power_off()
    board.power_on()
    board.wait_for_order("host")
    assert board.ordered("erase") == []
    assert board.ordered("join") == []


@pytest.mark.parametrize("key", ["a+b c&d=e%41", "", "0123456789abcdef" * 4])
def test_saved_network_is_joined_with_its_very_octets(board: "Board", key: str) -> None:
    save_network(board, " Gärten & 1+1 ", key)
    board.networks, board.cause = {" Gärten & 1+1 ": key}, "software"
    board.power_on()
    board.wait_for_line("stage: connected\n")
    join = board.wait_for_order("join")
    assert bytes.fromhex(join["ssid"]).decode() == " Gärten & 1+1 "
    assert bytes.fromhex(join["key"]).decode() == key
    assert board.ordered("host") == []
    board.wait_for("green", lambda: lamp(board)[-1] == GREEN_ON_WIRE)
    assert "address 192.0.2.23\n" in board.console
    assert not key or key not in board.console


def test_gives_up_an_absent_network_and_opens_the_hotspot(board: "Board") -> None:
    save_network(board, "Absent", "absent-key")
    board.speed = 4.0  # so that a host too busy for half a second costs no more than two flashes
    board.power_on()
    board.wait_for_order("host")
    assert len(board.ordered("join")) > 3
    told = lamp(board)
    assert told[-1] == BLUE_ON_WIRE
    assert set(told[:-1]) == {WHITE_ON_WIRE, DARK}
    flashes_hz = told.count(DARK) / 24.0
    assert 0.4 <= flashes_hz <= 0.8


def test_in_setup_it_comes_back_to_its_network_once_that_is_there(board: "Board") -> None:
    save_network(board, "Late", "late-key-1")
    board.power_on()
    board.wait_for_order("host")
    board.networks = {"Late": "late-key-1"}
    board.wait_for_line("stage: connected\n")
    assert board.console.count("stage: joining\n") == 1
    ops = [order["op"] for order in board.orders]
    assert ops.index("host") < ops.index("unhost")
    assert board.get("/settings").status_code == 401
    board.wait_for("green", lambda: lamp(board)[-1] == GREEN_ON_WIRE)
    board.networks = {}
    board.send_event(event="left", reason=None)
    board.wait_for("a hotspot again", lambda: len(board.ordered("host")) == 2)


def test_in_setup_it_stays_while_someone_is_on_its_hotspot(board: "Board") -> None:
    save_network(board, "Late", "late-key-1")
    board.guests = 1
    board.power_on()
    board.wait_for_order("host")
    joins = len(board.ordered("join"))
    board.networks = {"Late": "late-key-1"}
    board.wait_for("two looks at the hotspot", lambda: len(board.ordered("guests")) >= 2)
    assert len(board.ordered("join")) == joins
    assert board.get("/").status_code == 200
    board.guests = 0
    board.wait_for_line("stage: connected\n")


def test_wrong_key_is_tried_again_then_given_up(board: "Board") -> None:
    save_network(board, "Here", "wrong-key-1")
    board.networks = {"Here": "right-key-1"}
    board.power_on()
    board.wait_for_order("host")
    assert len(board.ordered("join")) > 3
    assert "wrong-key-1" not in board.console


def test_lost_network_is_joined_again(board: "Board") -> None:
    save_network(board, "Here", "right-key-1")
    board.networks = {"Here": "right-key-1"}
    board.power_on()
    board.wait_for_line("stage: connected\n")
    board.lease_ip = "192.0.2.99"
    board.send_event(event="left", reason=None)
    board.wait_for_line("address 192.0.2.99\n")
    board.wait_for("connected again", lambda: board.console.count("stage: connected\n") == 2)
    assert board.console.count("stage: joining\n") == 2


def test_a_slow_lease_is_waited_for(board: "Board") -> None:
    save_network(board, "Slow", "slow-key-1")
    board.networks = {"Slow": "slow-key-1"}
    board.lease_ip = ""
    board.power_on()
    board.wait_for_order("join")
    board.wait_for_order("read")
    assert len(board.ordered("join")) == 1
    board.send_event(event="leased", ip="192.0.2.24", mask="255.255.255.0", router="192.0.2.1")
    board.wait_for_line("stage: connected\n")
    assert len(board.ordered("join")) == 1


def test_without_a_lease_it_gives_up_and_leaves(board: "Board") -> None:
    save_network(board, "Mute", "mute-key-1")
    board.networks = {"Mute": "mute-key-1"}
    board.lease_ip = ""
    board.power_on()
    board.wait_for_order("host")
    ops = [order["op"] for order in board.orders]
    assert ops.index("leave") < ops.index("host")


def test_a_broken_radio_is_a_fault(board: "Board") -> None:
    board.broken_radio = True
    board.power_on()
    board.wait_for_line("stage: fault\n")
    board.wait_for("red flashes", lambda: lamp(board).count(RED_ON_WIRE) >= 3)
    assert lamp(board)[:2] == [WHITE_ON_WIRE, BLUE_ON_WIRE]
    assert set(lamp(board)[2:]) == {RED_ON_WIRE, DARK}


def test_a_failed_report_is_shown_and_blocks_nothing(board: "Board") -> None:
    save_network(board, "Here", "right-key-1")
    board.networks = {"Here": "right-key-1"}
    board.power_on()
    dial = board.wait_for_order("dial")
    assert (dial["host"], dial["port"]) == ("192.0.2.80", 80)
    board.look_until("the failure on the page", lambda: board.status()["Last report"] == "failed: refused")


def test_a_report_tells_the_vent_position_with_the_report_key(board: "Board", report_server: "ReportServer") -> None:
    board.power_on()
    board.wait_for_order("host")
    fields = {
        "network": "Here",
        "network_key": "right-key-1",
        "report_key": "rk-1",
        "opens_at": "20",
        "closes_at": "15",
    }
    assert board.post("/save", {**fields, "reports_to": "http://192.0.2.80:8080/vents?x=1"}).status_code == 200
    board.wait_for_order("reset")
    board.power_off()
    board.networks, board.dial_to = {"Here": "right-key-1"}, report_server.port
    board.power_on()
    board.look_until("a sent report", lambda: board.status()["Last report"] == "sent")
    path, key, body = report_server.reports[0]
    assert (path, key) == ("/vents?x=1", "Bearer rk-1")
    assert body == {"unit": "vent", "vent": "open"}
    assert board.ordered("dial")[0]["port"] == 8080


def test_a_crash_prints_its_traceback_and_ends(board: "Board", firmware: Path, tmp_path: Path) -> None:
    app = tmp_path / "crashing"
    shutil.copytree(firmware, app, ignore=shutil.ignore_patterns("__pycache__"))
    vent = app / "vent.py"
    vent.write_text(vent.read_text().replace("temperature_c = chip.air_temperature_c()", 'temperature_c = int("warm")'))
    board.power_on(app)
    assert board.exit_code() == 1
    board.wait_for_line("ValueError")
    assert "Traceback (most recent call last)" in board.console
    assert "vent.py" in board.console


def test_a_crash_while_a_page_is_served_ends_it_too(board: "Board", firmware: Path, tmp_path: Path) -> None:
    app = tmp_path / "crashing"
    shutil.copytree(firmware, app, ignore=shutil.ignore_patterns("__pycache__"))
    status = app / "status.py"
    status.write_text(status.read_text().replace("chip.serial()", "chip.cereal()"))
    board.power_on(app)
    board.send_raw(b"GET /now HTTP/1.1\r\n\r\n")
    assert board.exit_code() == 1
    board.wait_for_line("AttributeError")


def test_the_chip_ends_when_its_board_is_gone(board: "Board") -> None:
    board.power_on()
    board.wait_for_order("listen")
    board.drop_link()
    assert board.exit_code() == 1
