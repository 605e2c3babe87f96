"""ARP announcements, held against scapy's reading and RFC 5227 2.3; and a station with an address set by hand."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING

import pytest
from scapy.layers.l2 import ARP

from hil.virtual.air.arp import Announcement, read_announcement
from hil.virtual.air.radio import FixedAddress, HotspotPlan, Silent

if TYPE_CHECKING:
    from conftest import World

    RunWorld = Callable[[Callable[[World], Awaitable[None]]], None]

STATION = bytes.fromhex("02a0b0c0d0e2")
PLAN = HotspotPlan(b"Mossgate vent", b"leaf and stem", 6, "192.0.2.1")
FIXED = FixedAddress("192.0.2.240", "255.255.255.0", "192.0.2.1")


def test_an_announcement_as_another_program_reads_it() -> None:
    packet = ARP(Announcement(STATION, "192.0.2.240").pack())
    assert (packet.op, packet.hwtype, packet.ptype, packet.hwlen, packet.plen) == (1, 1, 0x0800, 6, 4)
    assert (packet.hwsrc, packet.psrc, packet.pdst) == (STATION.hex(":"), "192.0.2.240", "192.0.2.240")
    assert packet.hwdst == "00:00:00:00:00:00"


def test_what_another_program_announces_is_read_and_nothing_else() -> None:
    own = {"hwsrc": STATION.hex(":"), "psrc": "192.0.2.240", "hwdst": "00:00:00:00:00:00"}
    assert read_announcement(bytes(ARP(op=1, pdst="192.0.2.240", **own))) == Announcement(STATION, "192.0.2.240")
    assert read_announcement(bytes(ARP(op=1, pdst="192.0.2.1", **own))) is None  # a question
    assert read_announcement(bytes(ARP(op=2, pdst="192.0.2.240", **own))) is None
    assert read_announcement(b"") is None


def test_a_station_with_a_fixed_address_asks_for_no_lease_and_can_be_reached(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        host, ap = await world.hosted()
        radio, station = await world.radio(STATION)
        radio.listen(80, 1)
        await radio.join(PLAN.ssid, PLAN.passphrase, FIXED)
        assert (await station.see("addressed", "leased", "join failed")).data == vars(FIXED)
        await ap.see("announced", count=2)
        assert ap.kinds() == ["station joined", "announced", "announced"]
        assert ap.events[-1].data == {"address": STATION, "ip": FIXED.ip}
        assert host.members == {STATION: FIXED.ip}
        with pytest.raises(ConnectionRefusedError):  # it is there, and nothing listens at its local port
            await host.dial(FIXED.ip, 80)
        assert world.leases == []

    run_world(play)


@pytest.mark.parametrize("ip", ["198.51.100.240", "192.0.2.1"])
def test_nothing_leads_to_an_address_of_another_network_or_of_another_holder(run_world: RunWorld, ip: str) -> None:
    async def play(world: World) -> None:
        host, ap = await world.hosted()
        radio, _ = await world.radio(STATION)
        await radio.join(PLAN.ssid, PLAN.passphrase, FixedAddress(ip, "255.255.255.0", ip))
        assert (await ap.see("announced")).data["ip"] == ip
        assert host.members == {STATION: None}
        with pytest.raises(Silent if ip != PLAN.ip else ConnectionRefusedError):
            await asyncio.wait_for(host.dial(ip, 80), 20.0)

    run_world(play)


def test_left_and_joined_again_without_it_a_lease_is_asked_for(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        host, ap = await world.hosted()
        radio, station = await world.radio(STATION)
        await radio.join(PLAN.ssid, PLAN.passphrase, FIXED)
        await ap.see("announced")
        await radio.join(PLAN.ssid, PLAN.passphrase)
        leased = await station.see("leased")
        assert host.members == {STATION: leased.data["ip"]} != {STATION: FIXED.ip}

    run_world(play)
