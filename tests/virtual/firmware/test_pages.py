"""The unit's pages over real HTTP, under both interpreters: who may see what, what is kept, and rough treatment.

Held against RFC 9110 (405 with Allow, 401 with WWW-Authenticate, 413), RFC 6585 (431), RFC 7617 (basic authentication).
"""

import shutil
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board


UNTOUCHED = {"network_open": "yes", **dict.fromkeys(("fixed_address", "netmask", "gateway"), "")}
SECRETS = {"network_key": "kk-canary-1 &<", "report_key": "rk-canary-2", "update_key": "uk-canary-3:x"}
SET_UP = {
    "network": "Here <&>'\"",
    "unit_name": "Nörd <b>",
    "opens_at": "20.5",
    "closes_at": "15",
    "reports_to": "http://192.0.2.80/in?a=1&b=2",
    "report_every_s": "600",
    **SECRETS,
}


@pytest.fixture
def in_setup(board: "Board") -> "Board":
    """A unit in setup after its first start."""
    board.power_on()
    board.wait_for_order("host")
    return board


@pytest.fixture
def connected(in_setup: "Board") -> "Board":
    """A unit set up by its form and connected."""
    board = in_setup
    assert board.post("/save", SET_UP).status_code == 200
    board.wait_for_order("reset")
    board.power_off()
    board.networks, board.cause = {SET_UP["network"]: SET_UP["network_key"]}, "software"
    board.power_on()
    board.wait_for_line("stage: connected\n")
    return board


def test_saving_answers_then_restarts_once(in_setup: "Board") -> None:
    answer = in_setup.post("/save", SET_UP)
    assert answer.status_code == 200
    assert "Saved. Restarting." in answer.text
    assert in_setup.exit_code() == 1  # this board does not kill the chip that ordered a restart
    in_setup.wait_for_line("settings saved\nrestarting\n")
    assert len(in_setup.ordered("reset")) == 1


def test_a_second_save_before_the_restart_is_turned_away(board: "Board", firmware: Path, tmp_path: Path) -> None:
    app = tmp_path / "slow to restart"
    shutil.copytree(firmware, app, ignore=shutil.ignore_patterns("__pycache__"))
    pages = app / "pages.py"
    pages.write_text(pages.read_text().replace("RESTART_AFTER_MS = 2000", "RESTART_AFTER_MS = 600000"))
    board.power_on(app)
    board.wait_for_order("host")
    assert board.post("/save", SET_UP).status_code == 200
    saved = bytes(board.flash)
    assert board.post("/save", {**SET_UP, "network": "Another"}).status_code == 503
    assert bytes(board.flash) == saved


def test_form_comes_back_with_what_was_saved(connected: "Board") -> None:
    form = connected.get("/settings", auth=("vent", SECRETS["update_key"]))
    values = connected.inputs_of(form.text)
    assert values == {**SET_UP, **dict.fromkeys(SECRETS), **UNTOUCHED}


def test_empty_secrets_are_kept_over_a_save(connected: "Board") -> None:
    sent = {**SET_UP, **dict.fromkeys(SECRETS, ""), "unit_name": "south"}
    answer = connected.post("/save", sent, auth=("vent", SECRETS["update_key"]))
    assert answer.status_code == 200
    connected.wait_for_order("reset")
    connected.power_off()
    connected.power_on()
    connected.wait_for_line("stage: connected\n")
    assert connected.get("/settings", auth=("vent", SECRETS["update_key"])).status_code == 200


@pytest.mark.parametrize(
    "auth", [None, ("vent", "wrong"), ("other", SECRETS["update_key"]), ("vent", ""), ("", SECRETS["update_key"])]
)
def test_settings_of_a_connected_unit_need_the_update_key(connected: "Board", auth: tuple[str, str] | None) -> None:
    erased = len(connected.ordered("erase"))
    for answer in (connected.get("/settings", auth=auth), connected.post("/save", SET_UP, auth=auth)):
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"].startswith("Basic realm=")
    assert len(connected.ordered("erase")) == erased


@pytest.mark.parametrize("credentials", ["Basic !!!", "Basic", "Bearer x", "Basic /////w=="])
def test_broken_credentials_are_refused(connected: "Board", credentials: str) -> None:
    assert connected.get("/settings", headers={"Authorization": credentials}).status_code == 401


def test_status_page_says_what_is(connected: "Board") -> None:
    status = connected.status()
    running_for = status.pop("Running for")
    free_memory = status.pop("Free memory")
    last_report = status.pop("Last report")
    assert status == {
        "Vent position": "open",
        "Signal": "-58 dBm",
        "Version": "1.4.0",
        "Serial number": "MV2-0001",
        "Network": SET_UP["network"],
        "Address": "192.0.2.23",
    }
    assert running_for.removesuffix(" s").isdigit()
    assert free_memory.removesuffix(" octets").isdigit()
    assert last_report in ("none yet", "failed: refused")


def test_no_page_holds_a_secret(connected: "Board") -> None:
    auth = ("vent", SECRETS["update_key"])
    bad = {**SET_UP, "opens_at": "99"}
    answers = [
        connected.get("/"),
        connected.get("/now"),
        connected.get("/settings"),
        connected.get("/settings", auth=auth),
        connected.post("/save", bad, auth=auth),
        connected.post("/save", SET_UP, auth=auth),
    ]
    assert [answer.status_code for answer in answers] == [200, 200, 401, 200, 400, 200]
    said = "".join(f"{answer.headers}{answer.text}" for answer in answers) + connected.console
    assert not [secret for secret in SECRETS.values() if secret in said or secret.split(" ")[0] in said]


def test_wrong_settings_come_back_with_a_message_and_are_not_saved(in_setup: "Board") -> None:
    erased = len(in_setup.ordered("erase"))
    answer = in_setup.post("/save", {**SET_UP, "network": "x" * 33, "report_every_s": "soon"})
    assert answer.status_code == 400
    assert "Network must be 1 to 32 octets long; it is 33." in answer.text
    assert "Reports every (s) must be a whole number" in answer.text
    values = in_setup.inputs_of(answer.text)
    assert (values["unit_name"], values["report_every_s"]) == (SET_UP["unit_name"], "soon")
    assert len(in_setup.ordered("erase")) == erased
    assert in_setup.ordered("reset") == []


@pytest.mark.parametrize(
    ("request_octets", "status"),
    [
        (b"GET /nowhere HTTP/1.1\r\n\r\n", 302),
        (b"GET /settings HTTP/1.1\r\n\r\n", 302),  # in setup the form is at /
        (b"POST /nowhere HTTP/1.1\r\nContent-Length: 0\r\n\r\n", 404),
        (b"DELETE / HTTP/1.1\r\n\r\n", 405),
        (b"GET /save HTTP/1.1\r\n\r\n", 405),
        (b"nonsense\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nno colon\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nx: \xff\r\n\r\n", 400),
        (b"POST /save HTTP/1.1\r\n\r\n", 411),
        (b"POST /save HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", 411),
        (b"POST /save HTTP/1.1\r\nContent-Length: -1\r\n\r\n", 400),
        (b"POST /save HTTP/1.1\r\nContent-Length: 4097\r\n\r\n", 413),
        (b"POST /save HTTP/1.1\r\nContent-Length: 100000000\r\n\r\n" + b"x" * 65536, 413),
        (b"POST /save HTTP/1.1\r\nContent-Length: 11\r\n\r\nnetwork=%FF", 400),
        (b"GET / HTTP/1.1\r\nx: " + b"y" * 3000, 431),
        (b"GET /?a=b HTTP/1.1\r\n\r\n", 200),
    ],
)
def test_rough_requests_are_answered_and_survived(in_setup: "Board", request_octets: bytes, status: int) -> None:
    answer = in_setup.send_raw(request_octets)
    assert answer.startswith(f"HTTP/1.1 {status} ".encode())
    if status == 405:
        assert b"\r\nAllow: " in answer
    assert in_setup.get("/").status_code == 200


# RFC 9110, 9.3.2: no content in the answer to HEAD, and the fields that GET would bring.
@pytest.mark.parametrize("path", ["/", "/save"])
def test_head_is_answered_without_content(in_setup: "Board", path: str) -> None:
    head, end, content = in_setup.send_raw(f"HEAD {path} HTTP/1.1\r\n\r\n".encode()).partition(b"\r\n\r\n")
    assert (end, content) == (b"\r\n\r\n", b"")
    assert b"\r\nContent-Length: " in head


def test_a_body_that_is_broken_off_is_answered_and_not_saved(in_setup: "Board") -> None:
    erased = len(in_setup.ordered("erase"))
    with in_setup.connections(1) as (connection,):
        connection.sendall(b"POST /save HTTP/1.1\r\nContent-Length: 400\r\n\r\nunit_name=north&network=Allotment")
        connection.shutdown(socket.SHUT_WR)
        assert connection.recv(100).startswith(b"HTTP/1.1 400 ")
    assert len(in_setup.ordered("erase")) == erased


def test_idle_and_half_open_connections_block_nobody(in_setup: "Board") -> None:
    with in_setup.connections(4) as idle:
        for connection in idle[:2]:
            connection.sendall(b"POST /save HTTP/1.1\r\nContent-Length: 400\r\n\r\nnetwork=")
        assert in_setup.get("/").status_code == 200
        # they are told to go in the end, and the unit's patience is its own: only the bench's limit counts here
        assert [connection.recv(100)[:12] for connection in idle] == [b"HTTP/1.1 408"] * 4


def test_too_many_connections_are_turned_away_until_some_end(in_setup: "Board") -> None:
    with in_setup.connections(12), in_setup.connections(1) as last:
        assert last[0].recv(100).startswith(b"HTTP/1.1 503 ")
    in_setup.look_until("a page again", lambda: in_setup.get("/").status_code == 200)


def test_connections_broken_off_leave_the_server_alive(in_setup: "Board") -> None:
    for _ in range(10):
        with in_setup.connections(5) as connections:
            for connection in connections:
                connection.sendall(b"GET / HTTP/1.1\r\n\r\n")
                in_setup.break_off(connection)
    in_setup.look_until("a page", lambda: in_setup.get("/").status_code == 200)


def test_page_loads_whole_and_broken_off_cost_no_memory(connected: "Board") -> None:
    """Sixty loads and thirty broken off, after a warm-up, cost less than the smallest piece of a heap (16 octets) each."""

    def free() -> int:
        return max(int(connected.status()["Free memory"].removesuffix(" octets")) for _ in range(3))

    def load(count: int) -> None:
        for number in range(count):
            assert connected.get("/settings", auth=("vent", SECRETS["update_key"])).status_code == 200
            if number % 2 == 0:
                with connected.connections(1) as (connection,):
                    connection.sendall(b"GET /now HTTP/1.1\r\nHost: unit\r\n" + b"\r\n" * (number % 4 == 0))
                    connected.break_off(connection)

    load(20)
    before = free()
    load(60)
    assert before - free() < 60 * 16
