"""Known-bad units whose form goes wrong, on a small board, each beside what the good one does (common practice, no source)."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from hil.legs.awkward_texts import HEX_KEY, NETWORKS, TEXTS, AwkwardNetwork

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board

MakeApp = Callable[[str], Path]

SET_UP = {"network": "Here", "network_key": "kk-canary-1", "unit_name": "north"}
BLANK = {"report_key": "", "network_key": "", "update_key": ""}


def start(board: "Board", app: Path) -> dict[str, str | None]:
    """Start a unit with erased flash; what its form shows."""
    board.power_on(app)
    board.wait_for_order("host")
    return board.inputs_of(board.get("/").text)


def restart(board: "Board", app: Path) -> None:
    """Wait for the restart after saving and let the unit begin anew."""
    board.wait_for_order("reset")
    board.power_off()
    board.cause = "software"
    board.power_on(app)


def joined_with(board: "Board") -> tuple[bytes, str]:
    """The name and key of the unit's attempt to join."""
    order = board.wait_for_order("join")
    return bytes.fromhex(str(order["ssid"])), bytes.fromhex(str(order["key"])).decode()


@pytest.mark.parametrize("text", TEXTS)
def test_the_good_unit_keeps_awkward_texts(micropython_board: "Board", firmware: Path, text: str) -> None:
    start(micropython_board, firmware)
    assert micropython_board.post("/save", {**SET_UP, "unit_name": text}).status_code == 200
    micropython_board.networks = {"Here": "kk-canary-1"}
    restart(micropython_board, firmware)
    micropython_board.wait_for_line("stage: connected\n")
    page = micropython_board.get("/settings", auth=("vent", micropython_board.label_key)).text
    assert micropython_board.inputs_of(page)["unit_name"] == text


@pytest.mark.parametrize("network", [*NETWORKS, HEX_KEY], ids=lambda row: row.what)
def test_the_good_unit_joins_awkward_networks(
    micropython_board: "Board", firmware: Path, network: AwkwardNetwork
) -> None:
    start(micropython_board, firmware)
    assert micropython_board.post("/save", {"network": network.name, "network_key": network.key}).status_code == 200
    micropython_board.networks = {network.name: network.key}
    restart(micropython_board, firmware)
    assert joined_with(micropython_board) == (network.name.encode(), network.key)
    micropython_board.wait_for_line("stage: connected\n")
    assert micropython_board.status()["Network"] == network.name


def test_text_cut_silently(micropython_board: "Board", patched: MakeApp) -> None:
    start(micropython_board, patched("text_cut_silently"))
    assert micropython_board.post("/save", {"unit_name": "n" * 33}).status_code == 200
    assert micropython_board.inputs_of(micropython_board.get("/").text)["unit_name"] == "n" * 32


def test_number_clamped(micropython_board: "Board", patched: MakeApp) -> None:
    start(micropython_board, patched("number_clamped"))
    assert micropython_board.post("/save", {"opens_at": "51"}).status_code == 200
    assert micropython_board.inputs_of(micropython_board.get("/").text)["opens_at"] == "50"


@pytest.mark.parametrize("name", ["blank_wipes_secrets", "mask_stored"])
def test_an_edit_takes_the_unit_off_its_network(micropython_board: "Board", patched: MakeApp, name: str) -> None:
    app = patched(name)
    shown = start(micropython_board, app)
    assert micropython_board.post("/save", SET_UP).status_code == 200
    micropython_board.networks = {"Here": "kk-canary-1"}
    restart(micropython_board, app)
    assert joined_with(micropython_board) == (b"Here", "kk-canary-1")
    micropython_board.wait_for_line("stage: connected\n")
    edit = {"unit_name": "south", **{field: shown[field] or "" for field in BLANK}}
    assert micropython_board.post("/save", edit, auth=("vent", micropython_board.label_key)).status_code == 200
    restart(micropython_board, app)
    assert joined_with(micropython_board)[1] != "kk-canary-1"


def test_percent_decoded_twice(micropython_board: "Board", patched: MakeApp) -> None:
    start(micropython_board, patched("percent_decoded_twice"))
    assert micropython_board.post("/save", {"unit_name": "a%41b+c"}).status_code == 200
    assert micropython_board.inputs_of(micropython_board.get("/").text)["unit_name"] == "aAb c"


def test_ampersand_cuts(micropython_board: "Board", patched: MakeApp) -> None:
    start(micropython_board, patched("ampersand_cuts"))
    assert micropython_board.post("/save", {"unit_name": "a&b"}).status_code == 200
    assert micropython_board.inputs_of(micropython_board.get("/").text)["unit_name"] == "a"


def test_network_name_cut(micropython_board: "Board", patched: MakeApp) -> None:
    app = patched("network_name_cut")
    start(micropython_board, app)
    assert micropython_board.post("/save", {"network": "n" * 32, "network_key": "kk-canary-1"}).status_code == 200
    restart(micropython_board, app)
    assert joined_with(micropython_board)[0] == b"n" * 31


def test_double_submit_restarts_twice(micropython_board: "Board", patched: MakeApp) -> None:
    app = patched("double_submit_restarts_twice")
    start(micropython_board, app)
    assert [micropython_board.post("/save", SET_UP).status_code for _ in range(2)] == [200, 200]
    restart(micropython_board, app)
    restart(micropython_board, app)
    assert joined_with(micropython_board) == (b"Here", "kk-canary-1")
    assert micropython_board.ordered("reset") == []


def test_blanks_trimmed(micropython_board: "Board", patched: MakeApp) -> None:
    start(micropython_board, patched("blanks_trimmed"))
    assert micropython_board.post("/save", {"unit_name": " a  b "}).status_code == 200
    assert micropython_board.inputs_of(micropython_board.get("/").text)["unit_name"] == "a  b"


def test_status_unescaped(micropython_board: "Board", patched: MakeApp) -> None:
    start(micropython_board, patched("status_unescaped"))
    assert micropython_board.post("/save", {"network": "<b>x", "network_key": "kk-canary-1"}).status_code == 200
    assert "<dd><b>x</dd>" in micropython_board.get("/now").text
