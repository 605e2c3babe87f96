"""The virtual bench's way into the air, held against TCP: each side may end on its own (RFC 9293, 3.6); its two stations."""

import asyncio
import contextlib
import queue
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import cast

import pytest

from hil.core.clock import Clock
from hil.core.moments import Moment
from hil.core.timeline import Timeline
from hil.instruments.network_plan import NetworkPlan
from hil.virtual.air.datagrams import Datagram
from hil.virtual.air.radio import HotspotPlan, Radio, RadioEvent
from hil.virtual.bench_air import AirThread
from hil.virtual.bench_stations import VirtualAccessPoint, VirtualProbe
from hil.virtual.world import WorldProcess

LIMIT_S = 20.0
Serve = Callable[[asyncio.StreamReader, asyncio.StreamWriter], object]


class FarStation:
    """Stands for a radio that has a station in reach: each dial leads to a service of the test's."""

    def __init__(self, serve: Serve) -> None:
        self._serve = serve
        self._servers: list[asyncio.Server] = []

    async def dial(self, ip: str, port: int) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self._servers.append(server)
        local = server.sockets[0].getsockname()[1]
        return await asyncio.open_connection("127.0.0.1", local)

    async def close(self) -> None:
        for server in self._servers:
            server.close()


@pytest.fixture
def dial() -> Iterator[Callable[[Serve], socket.socket]]:
    """Dial a service through an air of its own."""
    with contextlib.ExitStack() as stack:
        air = AirThread()
        stack.callback(air.close)

        def to(serve: Serve) -> socket.socket:
            far = FarStation(serve)
            stack.callback(lambda: air.run(far.close()))
            connection = stack.enter_context(air.dial(cast("Radio", far), "203.0.113.1", 80))
            connection.settimeout(LIMIT_S)
            return connection

        yield to


def test_the_far_end_still_answers_after_our_end(dial: Callable[[Serve], socket.socket]) -> None:
    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"seen: " + await reader.read())  # to the end of our side
        writer.close()

    connection = dial(serve)
    connection.sendall(b"half a body")
    connection.shutdown(socket.SHUT_WR)
    answer = b""
    while piece := connection.recv(100):
        answer += piece
    assert answer == b"seen: half a body"


def test_we_still_send_after_the_far_end_s_end(dial: Callable[[Serve], socket.socket]) -> None:
    heard: queue.SimpleQueue[bytes] = queue.SimpleQueue()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write_eof()
        heard.put(await reader.read())
        writer.close()

    connection = dial(serve)
    assert connection.recv(100) == b""
    connection.sendall(b"too late")
    connection.shutdown(socket.SHUT_WR)
    assert heard.get(timeout=LIMIT_S) == b"too late"


SPEED = 20.0
PROBE, UNIT, FIRST, SECOND, CONTROL = (
    bytes.fromhex(f"0200000000{number}") for number in ("b1", "b2", "c1", "c2", "c3")
)
HOTSPOT = HotspotPlan(b"mossgate-00b2", b"label key 1", 6, "203.0.113.1")
NETWORK = NetworkPlan("bench-q7", "leaf and stem", 1)


@pytest.fixture
def bench_air() -> Iterator[tuple[AirThread, int, contextlib.ExitStack]]:
    """An air of its own, the way into it, and a stack for whoever is on it."""
    with contextlib.ExitStack() as stack:
        process = WorldProcess("air", {"speed": SPEED, "seed": 1})
        stack.callback(process.stop)
        air = AirThread()
        stack.callback(air.close)
        yield air, process.port("port"), stack


BenchAir = tuple[AirThread, int, contextlib.ExitStack]


def answer_as(radio: list[Radio], datagram: Datagram) -> None:
    """Say the question back with the answer's bit set, as a name server without a record would; to silence, nothing."""
    if datagram.payload:
        octets = datagram.payload[:2] + b"\x81\x80" + datagram.payload[4:]
        way = (datagram.target, datagram.target_port, datagram.source, datagram.source_port)
        radio[0].send_datagram(Datagram(*way, octets))


def test_the_probe_looks_names_up_through_its_network_only(bench_air: BenchAir) -> None:
    air, port, stack = bench_air
    radios: list[Radio] = []
    heard: list[Datagram] = []

    def take(datagram: Datagram) -> None:
        heard.append(datagram)
        answer_as(radios, datagram)

    radios.append(Radio(port, UNIT, speed=SPEED, on_event=lambda _event: None, on_datagram=take))
    air.run(radios[0].open())
    stack.callback(lambda: air.run(radios[0].close()))
    air.run(radios[0].host(HOTSPOT))
    timeline = Timeline(Clock(SPEED))
    probe = VirtualProbe(timeline, air, port, PROBE, seed=1)
    stack.callback(probe.close)
    probe.start()
    probe.look_up("203.0.113.1", "before.example.com", "A", 2.0)  # in no network: it reaches nobody
    assert probe.join("mossgate-00b2", "label key 1", 15.0) is not None
    probe.look_up("203.0.113.1", "inside.example.com", "A", 20.0)
    probe.send_datagram("203.0.113.1", 53, b"", "nothing at all")
    probe.look_up("203.0.113.77", "nobody.example.com", "A", 2.0)
    probe.leave()
    probe.look_up("203.0.113.1", "after.example.com", "A", 2.0)
    outcomes = {m.text("name"): m.kind for m in timeline.since() if m.kind in ("name answered", "name unanswered")}
    assert outcomes == {
        "before.example.com": "name unanswered",
        "inside.example.com": "name answered",
        "nobody.example.com": "name unanswered",
        "after.example.com": "name unanswered",
    }
    assert [len(datagram.payload) > 0 for datagram in heard] == [True, False]
    (leased,) = [m for m in timeline.since() if m.is_("probe", "leased")]
    assert (leased.text("router"), leased.text("name_server")) == ("203.0.113.1", "203.0.113.1")


def joined_in(timeline: Timeline, seen: int) -> Moment:
    """Wait for the station to be given an address since a mark; the moment says by which radio."""
    moment = timeline.wait(lambda m: m.is_("access point", "leased"), limit_s=400.0, awaited="a lease", since=seen)
    assert isinstance(moment, Moment)
    return moment


def test_two_networks_of_one_name_and_the_stronger_is_joined(bench_air: BenchAir) -> None:
    """The station moves to the other one when its own goes away without a word; each says who is in which."""
    air, port, stack = bench_air
    timeline = Timeline(Clock(SPEED))
    access_point = VirtualAccessPoint(timeline, air, port, [FIRST, SECOND, CONTROL], seed=1)
    stack.callback(access_point.close)
    access_point.start("control-q7", [1])
    left = threading.Event()
    station = Radio(port, UNIT, speed=SPEED, on_event=lambda event: left.set() if event.kind == "left" else None)
    air.run(station.open())
    stack.callback(lambda: air.run(station.close()))
    far = replace(NETWORK, channel=6, weaker_by_db=25.0)
    access_point.up(NETWORK, far)
    seen = timeline.mark()
    air.run(station.join(b"bench-q7", b"leaf and stem"))
    assert joined_in(timeline, seen).text("bssid") == FIRST.hex(":")
    access_point.up(None, far)
    assert left.wait(LIMIT_S)
    seen = timeline.mark()
    air.run(station.join(b"bench-q7", b"leaf and stem"))
    assert joined_in(timeline, seen).text("bssid") == SECOND.hex(":")
    assert access_point.bssids == (FIRST.hex(":"), SECOND.hex(":"))


def test_a_stored_key_is_never_shown_to_an_open_network(bench_air: BenchAir) -> None:
    air, port, stack = bench_air
    timeline = Timeline(Clock(SPEED))
    access_point = VirtualAccessPoint(timeline, air, port, [FIRST, SECOND, CONTROL], seed=1)
    stack.callback(access_point.close)
    access_point.start("control-q7", [1])
    told: queue.SimpleQueue[RadioEvent] = queue.SimpleQueue()
    station = Radio(port, UNIT, speed=SPEED, on_event=told.put)
    air.run(station.open())
    stack.callback(lambda: air.run(station.close()))
    opened = replace(NETWORK, passphrase=None)
    access_point.up(opened)
    air.run(station.join(b"bench-q7", b"leaf and stem"))
    failed = told.get(timeout=LIMIT_S)
    assert (failed.kind, failed.data["why"]) == ("join failed", "not found")
    access_point.up(opened, replace(NETWORK, channel=6, weaker_by_db=25.0))
    seen = timeline.mark()
    air.run(station.join(b"bench-q7", b"leaf and stem"))
    assert joined_in(timeline, seen).text("bssid") == SECOND.hex(":")
