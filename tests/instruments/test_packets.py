"""What of a network's packets tells of addresses. The packets are made by scapy, which is the outside check."""

import pytest
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.dns import DNS, DNSQR
from scapy.layers.inet import IP, TCP, UDP
from scapy.layers.l2 import ARP, Ether
from scapy.packet import Packet

from hil.instruments.host.air_capture import akin
from hil.instruments.host.packets import AddressWatch, StampClock

UNIT, EVERYBODY = "02:4d:56:00:a7:31", "ff:ff:ff:ff:ff:ff"
HELD = "198.51.100.240"
ASKS = BOOTP(op=1, chaddr=bytes.fromhex("024d5600a731")) / DHCP(options=[("message-type", "discover"), "end"])
FROM_UNIT = Ether(src=UNIT, dst=EVERYBODY)


def heard(packet: Packet | bytes) -> list[tuple[object, ...]]:
    told: list[tuple[object, ...]] = []
    watch = AddressWatch(lambda *what: told.append(what), lambda *what: told.append(what))
    watch.hear(bytes(packet), 7.5)
    return told


@pytest.mark.parametrize("options", [[], [b"\x94\x04\x00\x00"]], ids=["plain", "with a router alert"])
def test_a_dhcp_message_is_told_whole(options: list[bytes]) -> None:
    network = IP(src="0.0.0.0", dst="255.255.255.255", options=b"".join(options) or [])
    assert heard(FROM_UNIT / network / UDP(sport=68, dport=67) / ASKS) == [(bytes(ASKS), 7.5)]


def test_an_announced_address_is_told_with_whose_it_is() -> None:
    announcement = ARP(op="who-has", hwsrc=UNIT, psrc=HELD, pdst=HELD)
    assert heard(FROM_UNIT / announcement) == [(UNIT, HELD, 7.5)]


@pytest.mark.parametrize(
    "packet",
    [
        FROM_UNIT / ARP(op="who-has", hwsrc=UNIT, psrc="0.0.0.0", pdst=HELD),
        FROM_UNIT / ARP(op="is-at", hwsrc=UNIT, psrc=HELD, pdst="198.51.100.1"),
        FROM_UNIT / IP() / UDP(sport=5353, dport=53) / DNS(qd=DNSQR(qname="mossgate.example")),
        FROM_UNIT / IP() / TCP(sport=68, dport=67),
        b"",
        bytes(FROM_UNIT / IP())[:20],
        bytes(FROM_UNIT) + b"\xff",
        bytes(FROM_UNIT / ARP())[:30],
    ],
    ids=[
        "a probe for an address",
        "an answer",
        "a name asked",
        "no datagram",
        "nothing",
        "cut short",
        "odd",
        "half an ARP",
    ],
)
def test_nothing_else_is(packet: Packet | bytes) -> None:
    assert heard(packet) == []


def test_a_chip_s_other_addresses_are_akin_and_another_board_s_are_not() -> None:
    hotspot_by_row, hotspot_by_local_bit = "24:0a:c4:12:34:57", "26:0a:c4:12:34:56"
    assert {hotspot_by_row, hotspot_by_local_bit, "24:0a:c4:12:34:56"} <= akin("24:0a:c4:12:34:56")
    assert not {"24:0a:c4:12:34:5a", "24:0a:c4:12:35:56", "25:0a:c4:12:34:56"} & akin("24:0a:c4:12:34:56")


BEGUN_S, WALL_S = 50.0, 1_800_000_000.0  # the monotonic clock, and the wall clock then


def clock() -> StampClock:
    return StampClock(BEGUN_S, WALL_S)


def wall_s(monotonic_s: float, set_by_s: float = 0.0) -> float:
    return WALL_S + (monotonic_s - BEGUN_S) + set_by_s


@pytest.mark.parametrize("late_s", [0.0, 0.3, 2.5, 9.0])
def test_a_packet_that_was_read_late_came_when_its_stamp_says(late_s: float) -> None:
    one = clock()
    one.look(60.0 + late_s, wall_s(60.0 + late_s), 60.0 + late_s)
    assert one.came_s(wall_s(60.0), 60.0 + late_s) == pytest.approx(60.0, abs=1e-5)


@pytest.mark.parametrize("set_by_s", [-3600.0, -0.5, 0.5, 3600.0])
def test_a_stamp_from_before_the_wall_clock_was_set_tells_nothing(set_by_s: float) -> None:
    one = clock()
    one.look(60.0, wall_s(60.0), 60.0)
    one.look(61.0, wall_s(61.0, set_by_s), 61.0)
    assert one.came_s(wall_s(60.9), 61.0) == 61.0
    one.look(70.0, wall_s(70.0, set_by_s), 70.0)
    assert one.came_s(wall_s(69.5, set_by_s), 70.0) == pytest.approx(69.5, abs=1e-5)


@pytest.mark.parametrize("where", [0.0, 0.3, 1.0])
def test_being_held_up_between_two_clocks_is_no_setting(where: float) -> None:
    """Wherever in between the wall clock was read."""
    one = clock()
    one.look(60.0, wall_s(60.0 + 0.8 * where), 60.8)
    assert one.came_s(wall_s(59.0), 60.8) == pytest.approx(59.0, abs=1e-5)


def test_a_slow_drift_of_the_wall_clock_is_no_setting() -> None:
    one, fast = clock(), 1.0 + 500e-6  # as fast as a wall clock is slewed, by adjtime(3)
    for reading in range(1, 1001):
        now_s = BEGUN_S + 0.2 * reading
        one.look(now_s, WALL_S + fast * 0.2 * reading, now_s)
    assert one.came_s(WALL_S + fast * 198.0, BEGUN_S + 200.0) == pytest.approx(BEGUN_S + 198.0, abs=2e-3)


def test_a_packet_without_a_stamp_came_when_it_was_read() -> None:
    assert clock().came_s(None, 60.0) == 60.0


def test_a_stamp_of_the_future_or_from_before_listening_is_not_believed() -> None:
    one = clock()
    one.look(60.0, wall_s(60.0), 60.0)
    assert one.came_s(wall_s(60.5), 60.0) == 60.0
    assert one.came_s(wall_s(BEGUN_S - 0.5), 60.0) == 60.0
