"""Secrets on the console and in the air. Encodings are those of hil.page.search, held there against their RFCs; here it
is that each place is searched whole, and that silence of a deaf witness proves nothing."""

import base64
from urllib.parse import quote

import pytest
from support.records import (
    CONTROL,
    SECRETS,
    answered,
    awake,
    beacon,
    line,
    make,
    moment,
    power,
    seeks,
    start_line,
    without,
)

from hil.core.moments import Moment
from hil.evidence.air import AirView
from hil.evidence.console import ConsoleView
from hil.evidence.leaks import no_secret_heard, no_secret_said

SECRET = SECRETS["network_key"]
HEARING = awake(98.0, 132.0)
SPOKEN = [moment(50.0, "console", "opened"), power("on", 101.0), start_line(101.2)]
ENCODED = {
    "plain": SECRET,
    "URL": "".join(f"%{octet:02X}" for octet in SECRET.encode()),
    "hex": SECRET.encode().hex(),
    "base64": base64.b64encode(SECRET.encode()).decode(),
    "HTML": "".join(f"&#{ord(letter)};" for letter in SECRET),
}


def console(*moments: Moment) -> ConsoleView:
    return ConsoleView(make([*SPOKEN, *moments]).window(100.0, 130.0))


def air(*moments: Moment, hearing: list[Moment] = HEARING) -> AirView:
    return AirView(make([*hearing, *moments]).window(100.0, 130.0))


@pytest.mark.parametrize("encoding", ENCODED)
def test_a_secret_on_the_console_is_found_in_any_encoding(encoding: str) -> None:
    seen = no_secret_said(console(line(110.0, f"joining with {ENCODED[encoding]}!")), SECRETS)
    assert seen.holds is False
    assert "network_key" in seen.text
    assert SECRET not in seen.text


@pytest.mark.parametrize("cut", [1, 8, len(SECRET) - 1])
def test_a_secret_cut_by_a_line_end_is_found(cut: int) -> None:
    pieces = (line(110.0, f"key {SECRET[:cut]}"), line(110.1, f"{SECRET[cut:]} used"))
    assert no_secret_said(console(*pieces), SECRETS).holds is False


def test_a_secret_outside_the_leg_is_another_leg_s() -> None:
    assert no_secret_said(console(line(99.0, SECRET), line(131.0, SECRET)), SECRETS).holds is True


def test_nothing_said_by_a_console_that_slept_proves_nothing() -> None:
    assert no_secret_said(console(line(110.0, "joining")), SECRETS).holds is True
    seen = no_secret_said(console(line(110.0, "joining"), moment(120.0, "console", "lost")), SECRETS)
    assert seen.holds is None
    assert "console asleep" in seen.text


def test_a_secret_that_was_said_counts_though_the_console_slept_elsewhere() -> None:
    assert no_secret_said(console(line(110.0, SECRET), moment(120.0, "console", "lost")), SECRETS).holds is False


IN_THE_AIR = {
    "name of a network": beacon(110.0, SECRET),
    "name sought": seeks(110.0, name=f"x-{SECRET}"),
    "name joined": seeks(110.0, "associates", name=quote(SECRET)),
    "DHCP message": moment(110.0, "air", "dhcp", octets=b"\x0c\x0f".hex() + SECRET.encode().hex()),
}


@pytest.mark.parametrize("place", IN_THE_AIR)
def test_a_secret_in_the_air_is_found(place: str) -> None:
    seen = no_secret_heard(air(IN_THE_AIR[place]), SECRETS)
    assert seen.holds is False
    assert "network_key" in seen.text


def test_nothing_heard_by_a_deaf_monitor_proves_nothing() -> None:
    assert no_secret_heard(air(seeks(110.0)), SECRETS).holds is True
    seen = no_secret_heard(air(seeks(110.0), hearing=without(HEARING, CONTROL, 112.0, 118.0)), SECRETS)
    assert seen.holds is None
    assert "air monitor asleep" in seen.text


def test_all_three_places_are_searched_and_told_by_name() -> None:
    page = answered(110.0, "form", "f.body")
    made = make([*HEARING, *SPOKEN, line(111.0, SECRET), page], pages={"f.body": b"<p>all well</p>"})
    seen = made.evidence(100.0, 130.0, "pages", "console", "air").leaks()
    assert {place: found.holds for place, found in seen.items()} == {
        "pages": True,
        "the console": False,
        "the air": True,
    }
