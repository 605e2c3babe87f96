"""Datagrams: their octets, held against scapy's UDP and IPv4, and who gets them on a real air process."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING

import pytest
from scapy.layers.inet import IP, UDP

from hil.virtual.air.datagrams import LONGEST_PAYLOAD_OCTETS, Datagram, parse
from hil.virtual.air.radio import HotspotPlan, Radio

if TYPE_CHECKING:
    from conftest import World

    RunWorld = Callable[[Callable[[World], Awaitable[None]]], None]

PATIENCE_S = 20.0
AP, STATION, THIRD = (bytes.fromhex(f"02a0b0c0d0e{number}") for number in (1, 2, 3))
PLAN = HotspotPlan(b"Mossgate vent", b"leaf and stem", 6, "192.0.2.1")
QUERY = Datagram("192.0.2.2", 49152, "192.0.2.1", 53, b"who is who?")
LENGTHS = [*range(20), 512, LONGEST_PAYLOAD_OCTETS]


@pytest.mark.parametrize("length", LENGTHS)
def test_scapy_reads_and_writes_the_same_octets(length: int) -> None:
    dice = random.Random(length)
    ours = Datagram("203.0.113.2", dice.randint(1, 65535), "203.0.113.1", 53, dice.randbytes(length))
    packet = IP(ours.pack())
    assert (packet.src, packet.dst, packet[UDP].sport, packet[UDP].dport) == (
        ours.source,
        ours.target,
        ours.source_port,
        ours.target_port,
    )
    assert bytes(packet[UDP].payload) == ours.payload
    anew = IP(src=ours.source, dst=ours.target, flags="DF", id=0)
    anew = anew / UDP(sport=ours.source_port, dport=ours.target_port) / ours.payload
    assert bytes(anew) == ours.pack()
    assert parse(bytes(anew)) == ours


def test_a_packet_without_a_checksum_of_its_own_is_read() -> None:
    """RFC 768: all zero means that the sender made none."""
    anew = IP(src="192.0.2.2", dst="192.0.2.1", flags="DF", id=0) / UDP(sport=49152, dport=53, chksum=0) / QUERY.payload
    assert parse(bytes(anew)) == QUERY


def test_what_is_damaged_is_dropped() -> None:
    octets = QUERY.pack()
    for at in range(len(octets)):
        assert parse(octets[:at] + bytes((octets[at] ^ 1,)) + octets[at + 1 :]) is None
        assert parse(octets[:at]) is None
    assert parse(octets + b"x") is None


@pytest.mark.parametrize(
    "wrong", [{"target": "203.0.113"}, {"target_port": 0}, {"source_port": 65536}, {"payload": bytes(1473)}]
)
def test_what_nobody_can_send_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"Expected 4 octets|ports|octets"):
        Datagram(**{**vars(QUERY), **wrong})  # type: ignore[arg-type]


class Box:
    """Keeps datagrams that came and waits for the next."""

    def __init__(self) -> None:
        self._came: asyncio.Queue[Datagram] = asyncio.Queue()

    def __call__(self, datagram: Datagram) -> None:
        self._came.put_nowait(datagram)

    async def next(self) -> Datagram:
        async with asyncio.timeout(PATIENCE_S):
            return await self._came.get()

    @property
    def empty(self) -> bool:
        return self._came.empty()


async def member(world: World, address: bytes, box: Box, plan: HotspotPlan | None = None) -> Radio:
    """Bring a radio on the air that keeps its datagrams: as the plan's access point, or as a member of its network."""
    told: asyncio.Queue[str] = asyncio.Queue()
    radio = Radio(
        world.air.port, address, speed=world.air.speed, on_event=lambda e: told.put_nowait(e.kind), on_datagram=box
    )
    await radio.open()
    world.radios.append(radio)
    if plan is not None:
        await radio.host(plan)
        return radio
    await radio.join(PLAN.ssid, PLAN.passphrase)
    async with asyncio.timeout(PATIENCE_S):
        while (kind := await told.get()) != "leased":
            assert kind == "joined"
    return radio


def test_members_of_one_network_reach_each_other(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        boxes = [Box(), Box(), Box()]
        ap = await member(world, AP, boxes[0], PLAN)
        station = await member(world, STATION, boxes[1])
        third = await member(world, THIRD, boxes[2])
        station.send_datagram(QUERY)
        assert await boxes[0].next() == QUERY
        answer = Datagram(QUERY.target, QUERY.target_port, QUERY.source, QUERY.source_port, b"you")
        ap.send_datagram(answer)
        assert await boxes[1].next() == answer
        aside = Datagram("192.0.2.3", 49152, "192.0.2.2", 7, b"")
        third.send_datagram(aside)
        assert await boxes[1].next() == aside
        assert all(box.empty for box in boxes)

    run_world(play)


def test_strangers_and_borrowed_addresses_reach_nobody(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        box = Box()
        await member(world, AP, box, PLAN)
        station = await member(world, STATION, Box())
        stranger, _ = await world.radio(THIRD)
        stranger.send_datagram(QUERY)
        station.send_datagram(Datagram("192.0.2.77", 49152, "192.0.2.1", 53, b"borrowed"))
        station.send_datagram(Datagram("192.0.2.2", 49152, "192.0.2.99", 53, b"nobody there"))
        await stranger.echo()
        await station.echo()
        station.send_datagram(QUERY)
        assert await box.next() == QUERY
        await station.leave()
        station.send_datagram(QUERY)
        await station.echo()
        assert box.empty

    run_world(play)
