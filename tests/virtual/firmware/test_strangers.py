"""Who strays to the unit on its hotspot is led to the form; what another site's page sends is not saved.

Held against RFC 9110, 15.4.3 (302 with Location), RFC 6454, 7 (the field Origin, `null` among its values), RFC 9110, 10.1.3
(Referer), and W3C Fetch Metadata Request Headers (Sec-Fetch-Site: same-origin, same-site, cross-site, none).
"""

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board

SET_UP = {"network": "Here", "network_key": "kk-canary-1", "unit_name": "north", "update_key": "uk-canary-3"}


@pytest.fixture
def in_setup(board: "Board") -> "Board":
    """A unit in setup after its first start."""
    board.power_on()
    board.wait_for_order("host")
    return board


@pytest.mark.parametrize(
    "path", ["/generate_204", "/hotspot-detect.html", "/connecttest.txt", "/no/such/page", "/settings"]
)
def test_any_page_leads_to_the_form_on_the_hotspot(in_setup: "Board", path: str) -> None:
    answer = in_setup.get(path, headers={"Host": "www.example.com"}, allow_redirects=False)
    assert (answer.status_code, answer.headers["Location"]) == (302, "http://203.0.113.1/")


def test_a_connected_unit_leads_nobody_anywhere(in_setup: "Board") -> None:
    assert in_setup.post("/save", SET_UP).status_code == 200
    in_setup.wait_for_order("reset")
    in_setup.power_off()
    in_setup.networks = {SET_UP["network"]: SET_UP["network_key"]}
    in_setup.power_on()
    in_setup.wait_for_line("stage: connected\n")
    assert in_setup.get("/generate_204", allow_redirects=False).status_code == 404


@pytest.mark.parametrize(
    "fields",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://203.0.113.1:8080", "Host": "203.0.113.1"},
        {"Origin": "http://203.0.113.1.elsewhere.example", "Host": "203.0.113.1"},
        {"Referer": "http://elsewhere.example/203.0.113.1"},
        {"Origin": "http://203.0.113.1", "Referer": "http://elsewhere.example/", "Host": "203.0.113.1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_another_sites_page_saves_nothing(in_setup: "Board", fields: dict[str, str]) -> None:
    erased = len(in_setup.ordered("erase"))
    assert in_setup.post("/save", SET_UP, headers=fields).status_code == 403
    assert len(in_setup.ordered("erase")) == erased
    assert in_setup.ordered("reset") == []


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"Origin": "http://203.0.113.1", "Host": "203.0.113.1"},
        {"Origin": "http://203.0.113.1", "Referer": "http://203.0.113.1/", "Host": "203.0.113.1"},
        {"Sec-Fetch-Site": "same-origin"},
    ],
)
def test_its_own_page_saves(in_setup: "Board", fields: dict[str, str]) -> None:
    assert in_setup.post("/save", SET_UP, headers=fields).status_code == 200
