"""What the tests of the virtual world share: an air running as a process of its own, and tshark as outside reader."""

import asyncio
import contextlib
import json
import os
import shutil
import struct
import subprocess
import sys
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from scapy.layers.dot11 import RadioTap

from hil.virtual.air.monitor import Monitor
from hil.virtual.air.radio import HotspotPlan, Radio, RadioEvent

StartAir = Callable[..., "AirProcess"]
ReadByTshark = Callable[..., list[dict[str, str]]]

AIR_SPEED = 20.0
AP, STATION = bytes.fromhex("02a0b0c0d0e1"), bytes.fromhex("02a0b0c0d0e2")
PLAN = HotspotPlan(b"Mossgate vent", b"leaf and stem", 6, "192.0.2.1")
PATIENCE_S = 20.0
"""Real seconds any single wait of these tests may take."""
IEEE802_11_RADIOTAP = 127
"""LINKTYPE_IEEE802_11_RADIOTAP of the tcpdump group's list of link-layer header types."""


class AirProcess:
    """A running `python -m hil.virtual.air`."""

    def __init__(self, **config: object) -> None:
        """Start it and wait for its ready line."""
        self.speed = AIR_SPEED
        argument = json.dumps({"speed": self.speed, "seed": 1, **config})
        self.process = subprocess.Popen(
            [sys.executable, "-m", "hil.virtual.air", argument],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,  # in which it is served first, as on a bench
        )
        assert self.process.stdout is not None
        self.port = int(json.loads(self.process.stdout.readline())["port"])

    def end(self) -> int:
        """Close its standard input and return its exit status."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        status = self.process.wait(timeout=20)
        self.process.stdout.close()
        return status


@pytest.fixture
def start_air() -> Iterator[StartAir]:
    """Start airs with a configuration; all are ended with the test."""
    started: list[AirProcess] = []

    def start(**config: object) -> AirProcess:
        started.append(AirProcess(**config))
        return started[-1]

    yield start
    for air in started:
        if air.process.poll() is None:
            air.end()


@pytest.fixture
def air(start_air: StartAir) -> AirProcess:
    """Start an air without loss or delay."""
    return start_air()


@pytest.fixture
def read_by_tshark(tmp_path: Path) -> ReadByTshark:
    """Give frames (radiotap header first) to tshark; one mapping of field to text comes back for each frame."""
    program = shutil.which("tshark")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("tshark is missing: install it, the frames are held against its reading")
        pytest.skip("tshark is missing")

    def read(captured: Sequence[bytes], fields: Sequence[str], options: Sequence[str] = ()) -> list[dict[str, str]]:
        capture = tmp_path / "frames.pcap"
        capture.write_bytes(pcap(captured))
        wanted = [part for field in fields for part in ("-e", field)]
        arguments = [program, "-r", str(capture), "-T", "fields", "-E", "separator=|", *options, *wanted]
        done = subprocess.run(arguments, capture_output=True, text=True, timeout=60, check=True)
        return [dict(zip(fields, line.split("|"), strict=True)) for line in done.stdout.splitlines()]

    return read


def pcap(captured: Sequence[bytes]) -> bytes:
    """Return a capture file of radiotap frames, a millisecond apart (format: the libpcap file format, version 2.4)."""
    head = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, IEEE802_11_RADIOTAP)
    records = (
        struct.pack("<IIII", 1_700_000_000, 1000 * number, len(frame), len(frame)) + frame
        for number, frame in enumerate(captured)
    )
    return head + b"".join(records)


@dataclass
class Witness:
    """Keeps a radio's events and waits for one."""

    events: list[RadioEvent] = field(default_factory=list)
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def __call__(self, event: RadioEvent) -> None:
        self.events.append(event)
        self.news.set()

    async def see(self, *kinds: str, count: int = 1) -> RadioEvent:
        """Wait for the n-th event of these kinds."""
        async with asyncio.timeout(PATIENCE_S):
            while True:
                found = [event for event in self.events if event.kind in kinds]
                if len(found) >= count:
                    return found[count - 1]
                self.news.clear()
                await self.news.wait()

    def kinds(self) -> list[str]:
        return [event.kind for event in self.events]


class World:
    """Radios of one air, closed at the end of the test."""

    def __init__(self, air: AirProcess) -> None:
        self.air = air
        self.radios: list[Radio] = []
        self.frames: list[tuple[RadioTap, float]] = []
        self.leases: list[bytes] = []

    async def radio(self, address: bytes) -> tuple[Radio, Witness]:
        witness = Witness()
        radio = Radio(self.air.port, address, speed=self.air.speed, on_event=witness)
        await radio.open()
        self.radios.append(radio)
        return radio, witness

    async def hosted(self, plan: HotspotPlan = PLAN, address: bytes = AP) -> tuple[Radio, Witness]:
        radio, witness = await self.radio(address)
        await radio.host(plan)
        return radio, witness

    async def joined(self, address: bytes = STATION, plan: HotspotPlan = PLAN) -> tuple[Radio, Witness]:
        radio, witness = await self.radio(address)
        await radio.join(plan.ssid, plan.passphrase)
        assert (await witness.see("leased", "join failed")).kind == "leased"
        return radio, witness

    def heard(self, layer: type) -> list[RadioTap]:
        return [packet for packet, _ in self.frames if packet.haslayer(layer)]


@contextlib.asynccontextmanager
async def world_of(air: AirProcess) -> AsyncIterator[World]:
    world = World(air)
    monitor = Monitor(
        air.port,
        (1, 6, 11),
        on_frame=lambda frame, monotonic_s: world.frames.append((RadioTap(frame), monotonic_s)),
        on_dhcp=lambda message, _: world.leases.append(message),
    )
    await monitor.open()
    try:
        yield world
    finally:
        for radio in world.radios:
            await radio.close()
        await monitor.close()


@pytest.fixture
def run_world(air: AirProcess) -> Callable[[Callable[[World], Awaitable[None]]], None]:
    """Run a play of radios on the air; whoever is on it is taken down at the end."""

    def run(play: Callable[[World], Awaitable[None]]) -> None:
        async def inside() -> None:
            async with world_of(air) as world:
                await play(world)

        asyncio.run(inside())

    return run
