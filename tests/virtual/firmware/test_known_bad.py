"""Known-bad units on a small board: each shows the fault its patch names (common practice, no source).

What is late by a tenth is not judged here: that needs the bench's clock.
"""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import requests

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board

MakeApp = Callable[[str], Path]

SET_UP = {"network": "Here", "network_key": "kk-canary-1", "unit_name": "north"}


def start(board: "Board", app: Path) -> None:
    """Start a known-bad unit with erased flash and wait for its setup."""
    board.power_on(app)
    board.wait_for_order("host")


def set_up(board: "Board", app: Path) -> None:
    """Set a known-bad unit up by its form, then start it again beside its network."""
    start(board, app)
    assert board.post("/save", SET_UP).status_code == 200
    board.wait_for_order("reset")
    board.power_off()
    board.networks, board.cause = {"Here": "kk-canary-1"}, "software"
    board.power_on(app)


def test_lamp_red_green_swapped(micropython_board: "Board", patched: MakeApp) -> None:
    set_up(micropython_board, patched("lamp_red_green_swapped"))
    micropython_board.wait_for_line("stage: connected\n")
    lit = lambda: bytes.fromhex(str(micropython_board.ordered("lamp")[-1]["wire"]))  # noqa: E731
    micropython_board.wait_for("red where green is meant", lambda: lit()[0] == 0 and lit()[1] > 0)


def test_hotspot_never(micropython_board: "Board", patched: MakeApp) -> None:
    micropython_board.power_on(patched("hotspot_never"))
    micropython_board.wait_for_line("hotspot 'mossgate-a41f'\n")
    assert micropython_board.ordered("host") == []


def test_beacon_name_wrong(micropython_board: "Board", patched: MakeApp) -> None:
    start(micropython_board, patched("beacon_name_wrong"))
    assert bytes.fromhex(str(micropython_board.ordered("host")[0]["ssid"])) == b"mossgate-setup"
    assert micropython_board.get("/").status_code == 200


def test_stored_value_not_prefilled(micropython_board: "Board", patched: MakeApp) -> None:
    set_up(micropython_board, patched("stored_value_not_prefilled"))
    micropython_board.wait_for_line("stage: connected\n")
    form = micropython_board.get("/settings", auth=("vent", micropython_board.label_key)).text
    values = micropython_board.inputs_of(form)
    assert (values["unit_name"], values["network"]) == ("", "Here")


def test_secret_in_page(micropython_board: "Board", patched: MakeApp) -> None:
    set_up(micropython_board, patched("secret_in_page"))
    micropython_board.wait_for_line("stage: connected\n")
    form = micropython_board.get("/settings", auth=("vent", micropython_board.label_key)).text
    assert "kk-canary-1" in form
    assert micropython_board.inputs_of(form)["network_key"] is None


def test_restarts_twice(micropython_board: "Board", patched: MakeApp) -> None:
    app = patched("restarts_twice")
    set_up(micropython_board, app)
    micropython_board.wait_for_order("reset")
    assert micropython_board.ordered("join") == []
    micropython_board.power_off()
    micropython_board.power_on(app)
    micropython_board.wait_for_line("stage: connected\n")
    assert micropython_board.ordered("reset") == []


def test_status_old_address(micropython_board: "Board", patched: MakeApp) -> None:
    set_up(micropython_board, patched("status_old_address"))
    micropython_board.wait_for_line("address 192.0.2.23\n")
    micropython_board.wait_for_line("stage: connected\n")
    assert micropython_board.status()["Address"] == "203.0.113.1"


def test_gives_up_twice(micropython_board: "Board", patched: MakeApp) -> None:
    app = patched("gives_up_twice")
    set_up(micropython_board, app)
    micropython_board.power_off()
    micropython_board.networks = {}
    micropython_board.power_on(app)
    micropython_board.wait_for_order("host")
    dark = sum(order["wire"] == "000000" for order in micropython_board.ordered("lamp"))
    assert dark / 0.6 > 40  # a flash each 1/0.6 s: it joined for longer than 40 of the unit's own seconds


def test_lease_late_asks_for_a_late_lease(micropython_board: "Board", patched: MakeApp) -> None:
    start(micropython_board, patched("lease_late"))
    assert micropython_board.ordered("host")[0]["lease_delay_s"] == 5.5


def test_golden_just_inside_works_whole(micropython_board: "Board", patched: MakeApp) -> None:
    set_up(micropython_board, patched("golden_just_inside"))
    micropython_board.wait_for_line("stage: connected\n")
    assert micropython_board.status()["Network"] == "Here"


def restart(board: "Board", app: Path, cause: str = "power") -> None:
    """Start a set-up unit again, for a reason."""
    board.power_off()
    board.cause = cause
    board.power_on(app)


def save_when_connected(board: "Board", fields: dict[str, str]) -> int:
    """Save through the settings page of a connected unit; 0 where the unit went meanwhile."""
    try:
        return board.post("/save", fields, auth=("vent", board.label_key)).status_code
    except requests.ConnectionError:
        return 0


def test_save_unsafe_for_60_ms(micropython_board: "Board", patched: MakeApp) -> None:
    """The supply goes when what is stored is erased: nothing is left, as on a unit as shipped."""
    app = patched("save_unsafe_for_60_ms")
    set_up(micropython_board, app)
    micropython_board.wait_for_line("stage: connected\n")
    micropython_board.cut_at_op = micropython_board.flash_ops + 1
    assert save_when_connected(micropython_board, {"unit_name": "south"}) == 0
    restart(micropython_board, app)
    micropython_board.wait_for_line("first start\n")


def test_settings_rewritten_at_start(micropython_board: "Board", patched: MakeApp) -> None:
    app = patched("settings_rewritten_at_start")
    set_up(micropython_board, app)
    micropython_board.wait_for_line("stage: connected\n")
    micropython_board.cut_at_op = micropython_board.flash_ops + 3  # both sectors are erased by then
    restart(micropython_board, app)
    micropython_board.wait_for("the cut", lambda: micropython_board.flash_ops == micropython_board.cut_at_op)
    restart(micropython_board, app)
    micropython_board.wait_for_line("first start\n")


def test_third_reset_not_joined(micropython_board: "Board", patched: MakeApp) -> None:
    app = patched("third_reset_not_joined")
    set_up(micropython_board, app)
    for told in ("stage: connected\n", "stage: connected\n", "not joined: authentication expired\n"):
        restart(micropython_board, app, "reset line")
        micropython_board.wait_for_line(told)
    restart(micropython_board, app)
    micropython_board.wait_for_line("stage: connected\n")


def test_unchanged_save_not_joined(micropython_board: "Board", patched: MakeApp) -> None:
    app = patched("unchanged_save_not_joined")
    set_up(micropython_board, app)
    micropython_board.wait_for_line("stage: connected\n")
    assert save_when_connected(micropython_board, SET_UP) == 200
    micropython_board.wait_for_order("reset")
    restart(micropython_board, app, "software")
    micropython_board.wait_for("ten edges of the joining lamp", lambda: len(micropython_board.ordered("lamp")) > 10)
    assert micropython_board.ordered("join") == []
    restart(micropython_board, app)
    micropython_board.wait_for_line("stage: connected\n")
