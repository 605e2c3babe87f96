"""Radios on a real air process: scanning, joining, leases, and every way these end badly.

Outside sources: frames heard are read by scapy; reason 15 on a wrong key and the SSID's 0 to 32 octets are IEEE 802.11's
(2020: Table 9-49, 9.4.2.2), the beacon's time unit its clause 3, the order of a lease RFC 2131's. The 6 s without beacons
are a common chip's documented default.
"""

from __future__ import annotations

import asyncio
import itertools
import time
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING

import pytest
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.dot11 import Dot11Auth, Dot11Beacon, Dot11Deauth, Dot11Elt, Dot11ProbeReq, RadioTap
from scapy.layers.eap import EAPOL_KEY

from hil.virtual.air import frames
from hil.virtual.air.air_link import AirLink, StationLink
from hil.virtual.air.radio import HotspotPlan, Silent

if TYPE_CHECKING:
    from conftest import World

    RunWorld = Callable[[Callable[[World], Awaitable[None]]], None]

AP, STATION, THIRD = (bytes.fromhex(f"02a0b0c0d0e{number}") for number in (1, 2, 3))
PLAN = HotspotPlan(b"Mossgate vent", b"leaf and stem", 6, "192.0.2.1")
PATIENCE_S = 20.0


def addresses(packets: list[RadioTap]) -> list[tuple[str, str]]:
    """Return (receiver, sender) of each."""
    return [(packet.addr1, packet.addr2) for packet in packets]


def text(address: bytes) -> str:
    return address.hex(":")


def test_a_station_joins_and_leases(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        _, ap = await world.hosted()
        _, station = await world.joined()
        await ap.see("leased")
        assert station.kinds() == ["joined", "leased"]
        assert ap.kinds() == ["station joined", "lease asked", "lease asked", "leased"]
        joined, leased = (event.data for event in station.events)
        assert (joined["ssid"], joined["bssid"], joined["channel"]) == (PLAN.ssid, AP, 6)
        assert leased == {
            "ip": "192.0.2.2", "mask": "255.255.255.0", "router": "192.0.2.1", "name_server": "192.0.2.1",
            "server": "192.0.2.1", "lease_s": 3600,
        }  # fmt: skip
        assert [event.data.get("message") for event in ap.events] == [None, "discover", "request", None]
        assert ap.events[-1].data == {"address": STATION, "ip": "192.0.2.2"}

    run_world(play)


def test_the_monitor_hears_the_whole_join(run_world: RunWorld) -> None:
    """The order of frames of IEEE 802.11-2020 11.3 and 12.7.6; of messages, RFC 2131 3.1."""

    async def play(world: World) -> None:
        _, ap = await world.hosted()
        await world.joined()
        await ap.see("leased")
        both = {(text(AP), text(STATION)), (text(STATION), text(AP))}
        steps = [packet for packet, _ in world.frames if (packet.addr1, packet.addr2) in both]
        names = [packet.payload.name if packet.haslayer(EAPOL_KEY) else packet.payload.payload.name for packet in steps]
        assert [packet.addr2 for packet in world.heard(Dot11Auth)] == [text(STATION), text(AP)]
        assert [packet[EAPOL_KEY].guess_key_number() for packet in world.heard(EAPOL_KEY)] == [1, 2, 3, 4]
        assert names.index("802.11 Authentication") < names.index("802.11 Association Request")
        assert {packet.ChannelFrequency for packet in steps} == {2437}
        kinds = [dict(option for option in BOOTP(m)[DHCP].options if isinstance(option, tuple)) for m in world.leases]
        assert [options["message-type"] for options in kinds] == [1, 2, 3, 5]

    run_world(play)


def test_beacons_count_time_units_and_sequence_numbers(run_world: RunWorld) -> None:
    """One time unit is 1024 us (IEEE 802.11-2020 clause 3); beacons carry the interval and the timer they keep to."""

    async def play(world: World) -> None:
        await world.hosted()
        async with asyncio.timeout(PATIENCE_S):
            while len(world.frames) < 20:
                await asyncio.sleep(0.01)
        beacons = world.heard(Dot11Beacon)
        stamps = [packet[Dot11Beacon].timestamp for packet in beacons]
        assert {packet[Dot11Beacon].beacon_interval for packet in beacons} == {100}
        # Each falls into an interval of its own, at its begin or (on a busy machine) later: never early, none twice.
        due = [stamp // 102_400 for stamp in stamps]
        assert due == sorted(set(due))
        assert [packet.SC >> 4 for packet in beacons] == [beacons[0].SC // 16 + n for n in range(len(beacons))]
        elapsed_us = (world.frames[-1][1] - world.frames[0][1]) * world.air.speed * 1e6
        assert (stamps[-1] - stamps[0]) / elapsed_us == pytest.approx(1.0, abs=0.2)

    run_world(play)


def test_a_wrong_key_ends_in_reason_15(run_world: RunWorld) -> None:
    """15: 4-way handshake timeout (IEEE 802.11-2020 Table 9-49)."""

    async def play(world: World) -> None:
        _, ap = await world.hosted()
        radio, station = await world.radio(STATION)
        await radio.join(PLAN.ssid, b"leaf and stam")
        failed = await station.see("join failed")
        assert failed.data == {"reason": 15, "why": "wrong key"}
        assert (await ap.see("wrong key")).data == {"address": STATION, "reason": 15}
        goodbye = world.heard(Dot11Deauth)
        assert [packet.reason for packet in goodbye] == [15]
        assert addresses(goodbye) == [(text(STATION), text(AP))]
        messages = {packet[EAPOL_KEY].guess_key_number() for packet in world.heard(EAPOL_KEY)}
        assert messages == {1, 2}
        assert world.leases == []

    run_world(play)


def test_an_absent_network_is_not_found(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        await world.hosted()
        radio, station = await world.radio(STATION)
        await radio.join(b"Mossgate ven", b"leaf and stem")
        assert (await station.see("join failed")).data == {"reason": None, "why": "not found"}
        asked = {bytes(packet[Dot11Elt].info) for packet in world.heard(Dot11ProbeReq)}
        assert asked == {b"Mossgate ven"}
        assert world.heard(Dot11Auth) == []

    run_world(play)


def test_a_keyless_station_is_refused_by_a_secured_network(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        await world.hosted()
        radio, station = await world.radio(STATION)
        await radio.join(PLAN.ssid, None)
        assert (await station.see("join failed")).data == {"reason": None, "why": "refused"}

    run_world(play)


def test_an_open_network_needs_no_handshake_and_takes_no_key(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        plan = HotspotPlan(b"open", None, 11, "203.0.113.1")
        await world.hosted(plan)
        radio, station = await world.joined(plan=plan)
        assert station.events[-1].data["ip"] == "203.0.113.2"
        assert world.heard(EAPOL_KEY) == []
        await radio.join(b"open", b"leaf and stem")
        assert (await station.see("join failed")).data["why"] == "not found"

    run_world(play)


@pytest.mark.parametrize("ssid", [b"x", b"Z" * 32, bytes(range(32)), "Gew\u00e4chshaus \U0001f331".encode()])
def test_ssids_up_to_32_octets_join(run_world: RunWorld, ssid: bytes) -> None:
    """IEEE 802.11-2020 9.4.2.2; a network of the first 31 octets of the name beside it fools nobody."""

    async def play(world: World) -> None:
        await world.hosted(HotspotPlan(ssid[:31] if len(ssid) == 32 else b"decoy", b"leaf and stem", 1, "198.51.100.1"))
        plan = HotspotPlan(ssid, b"leaf and stem", 6, "192.0.2.1")
        await world.hosted(plan, THIRD)
        _, station = await world.joined(plan=plan)
        assert station.events[0].data["bssid"] == THIRD

    run_world(play)


def test_33_octets_are_no_ssid() -> None:
    """IEEE 802.11-2020 9.4.2.2."""
    with pytest.raises(ValueError, match="33 octets"):
        HotspotPlan(b"Z" * 33, None, 6, "192.0.2.1")


@pytest.mark.parametrize("passphrase", [b"", b"7 chars", b"x" * 65])
def test_a_passphrase_has_8_to_63_octets(passphrase: bytes) -> None:
    """IEEE 802.11-2020 J.4.1."""
    with pytest.raises(ValueError, match="passphrase"):
        HotspotPlan(b"name", passphrase, 6, "192.0.2.1")


def test_a_hidden_network_is_joined_by_name_only(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        plan = HotspotPlan(b"quiet", b"leaf and stem", 6, "192.0.2.1", hidden=True)
        await world.hosted(plan)
        radio, _ = await world.joined(plan=plan)
        named = {bytes(packet[Dot11Elt].info) for packet in world.heard(Dot11Beacon)}
        assert named == {b""}
        assert [(network.ssid, network.bssid) for network in await radio.scan()] == [(b"", AP)]

    run_world(play)


def test_a_scan_finds_every_network(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        await world.hosted()
        await world.hosted(HotspotPlan(b"open", None, 13, "203.0.113.1"), THIRD)
        radio, _ = await world.radio(STATION)
        found = {(n.ssid, n.bssid, n.channel, n.security) for n in await radio.scan()}
        assert found == {(PLAN.ssid, AP, 6, "wpa2"), (b"open", THIRD, 13, "open")}

    run_world(play)


def test_leaving_says_so_on_the_air(run_world: RunWorld) -> None:
    """3: the sender is leaving (IEEE 802.11-2020 Table 9-49)."""

    async def play(world: World) -> None:
        access_point, ap = await world.hosted()
        radio, _ = await world.joined()
        assert access_point.members == {STATION: "192.0.2.2"}
        await radio.leave()
        assert (await ap.see("station left")).data == {"address": STATION, "reason": 3}
        assert access_point.members == {}
        assert [packet.reason for packet in world.heard(Dot11Deauth)] == [3]

    run_world(play)


def test_an_ended_hotspot_sends_its_members_away(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        access_point, _ = await world.hosted()
        _, station = await world.joined()
        await access_point.unhost()
        assert (await station.see("left")).data == {"reason": 3}

    run_world(play)


@pytest.mark.parametrize("how", ["radio gone", "beacons end"])
def test_a_vanished_hotspot_is_missed_with_no_farewell(run_world: RunWorld, how: str) -> None:
    async def play(world: World) -> None:
        access_point, _ = await world.hosted()
        radio, station = await world.joined()
        await (access_point.close() if how == "radio gone" else access_point.unhost(farewell=False))
        gone_s = time.monotonic()
        left = await station.see("left")
        assert left.data == {"reason": None}
        # Never before the 6 s of unit time (less one beacon interval) are over.
        assert (left.monotonic_s - gone_s) * world.air.speed > 5.8
        assert radio.signal_dbm is None
        assert world.heard(Dot11Deauth) == []
        await access_point.open()
        await access_point.host(PLAN)
        await radio.join(PLAN.ssid, PLAN.passphrase)
        await station.see("leased", count=2)

    run_world(play)


def test_an_access_point_that_forgot_its_station_sends_it_away(run_world: RunWorld) -> None:
    """7: a frame from a station not associated (IEEE 802.11-2020 Table 9-49)."""

    async def play(world: World) -> None:
        access_point, _ = await world.hosted()
        _, station = await world.joined()
        await access_point.close()
        await access_point.open()
        await access_point.host(PLAN)
        assert (await station.see("left")).data == {"reason": 7}

    run_world(play)


def test_a_reset_station_joins_again_over_its_stale_association(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        access_point, ap = await world.hosted()
        for count in range(1, 4):
            radio, _ = await world.joined()
            await ap.see("leased", count=count)
            assert access_point.members == {STATION: "192.0.2.2"}
            if count % 2:
                await radio.close()
        assert "station left" not in ap.kinds()
        assert world.heard(Dot11Deauth) == []

    run_world(play)


def test_a_handshake_given_up_by_a_reset_station_does_not_end_its_next_one(run_world: RunWorld) -> None:
    """The first life falls silent at message 1; the second joins while the access point still waits for the first."""

    async def play(world: World) -> None:
        _, ap = await world.hosted(HotspotPlan(PLAN.ssid, PLAN.passphrase, 6, "192.0.2.1", lease_s=60))
        link = AirLink(world.air.port, {"hello": "station", "address": STATION.hex()}, lambda *_: None)
        await link.open()
        first_life = StationLink(link, STATION, world.air.speed)
        first_life.send_frame(6, frames.authentication(AP, STATION, AP, 1, 1))
        first_life.send_frame(6, frames.association_request(AP, STATION, 2, PLAN.ssid, secured=True))
        async with asyncio.timeout(PATIENCE_S):
            while not world.heard(EAPOL_KEY):
                await asyncio.sleep(0.005)
        await link.close()
        _, station = await world.joined()
        # Half a lease of 60 s lasts longer than the access point's patience with the first life.
        await ap.see("leased", count=ap.kinds().count("leased") + 1)
        assert station.kinds() == ["joined", "leased"]
        assert world.heard(Dot11Deauth) == []

    run_world(play)


def test_a_second_radio_of_an_address_replaces_the_first(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        await world.hosted()
        first, _ = await world.joined()
        second, _ = await world.joined()
        assert second.signal_dbm is not None
        with pytest.raises(Silent):
            await first.dial("192.0.2.1", 80)

    run_world(play)


def test_a_silent_lease_server_is_asked_again_and_given_up(run_world: RunWorld) -> None:
    """Repeats after 4, 8, 16, 32 s, each plus or minus 1 s: RFC 2131 4.1; where a busy host woke it too late, once more."""
    waits_s: list[float] = []

    async def play(world: World) -> None:
        _, ap = await world.hosted(HotspotPlan(PLAN.ssid, PLAN.passphrase, 6, "192.0.2.1", lease_delay_s=None))
        radio, station = await world.radio(STATION)
        await radio.join(PLAN.ssid, PLAN.passphrase)
        assert (await station.see("join failed")).data == {"reason": None, "why": "no lease"}
        asked_s = [event.monotonic_s * world.air.speed for event in ap.events if event.kind == "lease asked"]
        waits_s[:] = [later - sooner for sooner, later in itertools.pairwise(asked_s)]
        assert (await ap.see("station left")).data == {"address": STATION, "reason": 3}

    run_world(play)
    if any(wait_s > most_s for wait_s, most_s in zip(waits_s, (6.0, 10.0, 18.0), strict=False)):
        run_world(play)
    assert len(waits_s) == 3
    # Waits have a floor of 0.5 s real; a late timer only lengthens them.
    assert all(wait_s > least_s for wait_s, least_s in zip(waits_s, (2.9, 6.9, 14.9), strict=True))


def test_a_slow_lease_server_is_waited_for(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        await world.hosted(HotspotPlan(PLAN.ssid, PLAN.passphrase, 6, "192.0.2.1", lease_delay_s=10.0))
        _, station = await world.joined()
        joined, leased = station.events
        assert (leased.monotonic_s - joined.monotonic_s) * world.air.speed >= 10.0

    run_world(play)


def test_a_lease_is_renewed_at_half_its_time(run_world: RunWorld) -> None:
    """RFC 2131 4.4.5: a request with the client's own address, at half the lease."""

    async def play(world: World) -> None:
        _, ap = await world.hosted(HotspotPlan(PLAN.ssid, PLAN.passphrase, 6, "192.0.2.1", lease_s=20))
        _, station = await world.joined()
        given = ap.kinds().count("leased")
        renewed = await ap.see("leased", count=given + 1)
        assert (renewed.monotonic_s - station.events[-1].monotonic_s) * world.air.speed >= 9.9
        requests = [packet for packet in map(BOOTP, world.leases) if packet.op == 1]
        assert requests[-1].ciaddr == "192.0.2.2"
        assert station.kinds() == ["joined", "leased"]

    run_world(play)


def test_an_echo_comes_by_the_air_and_not_without_power(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        radio, _ = await world.radio(STATION)
        async with asyncio.timeout(PATIENCE_S):
            await radio.echo()
        await radio.close()
        with pytest.raises(OSError, match="gone from the air"):
            await radio.echo()

    run_world(play)
