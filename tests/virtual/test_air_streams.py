"""IP streams between radios: who reaches whom, and refused and silent told apart.

The reading of "refused" (a host answers, no service) and "silent" (no answer) is RFC 9293's: a reset against a time-out.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import TYPE_CHECKING

import pytest

from hil.virtual.air.radio import HotspotPlan, Refused, Silent

if TYPE_CHECKING:
    from conftest import World

    RunWorld = Callable[[Callable[[World], Awaitable[None]]], None]

THIRD = bytes.fromhex("02a0b0c0d0e3")
STATION = bytes.fromhex("02a0b0c0d0e2")
PLAN = HotspotPlan(b"Mossgate vent", b"leaf and stem", 6, "192.0.2.1")
PATIENCE_S = 20.0


@contextlib.asynccontextmanager
async def echo_service() -> AsyncIterator[int]:
    """Answer what is sent, in a service on loopback; gives its port."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.closing(writer), contextlib.suppress(ConnectionError):
            while data := await reader.read(1000):
                writer.write(data)

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()


def test_members_reach_each_others_services(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        access_point, _ = await world.hosted()
        station, _ = await world.joined()
        third, _ = await world.joined(THIRD)
        async with echo_service() as port:
            access_point.listen(80, port)
            third.listen(8080, port)
            for dialer, ip, service in (
                (station, "192.0.2.1", 80),
                (station, "192.0.2.3", 8080),
                (access_point, "192.0.2.3", 8080),
            ):
                reader, writer = await dialer.dial(ip, service)
                writer.write(b"leaf" * 50_000)
                writer.write_eof()
                async with asyncio.timeout(PATIENCE_S):
                    assert await reader.read() == b"leaf" * 50_000
                writer.close()

    run_world(play)


def test_refused_and_silent_are_told_apart(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        access_point, _ = await world.hosted()
        station, _ = await world.joined()
        outsider, _ = await world.radio(THIRD)
        async with echo_service() as port:
            access_point.listen(80, port)
            with pytest.raises(Refused):
                await station.dial("192.0.2.1", 81)
            with pytest.raises(Silent):
                await station.dial("192.0.2.77", 80)
            with pytest.raises(Silent):
                await outsider.dial("192.0.2.1", 80)
            access_point.unlisten(80)
            with pytest.raises(Refused):
                await station.dial("192.0.2.1", 80)
            access_point.listen(80, port)
        with pytest.raises(Refused):
            await station.dial("192.0.2.1", 80)  # the service's process is gone, the station is not
        await access_point.close()
        with pytest.raises(Silent):
            await station.dial("192.0.2.1", 80)

    run_world(play)


def test_a_station_before_its_lease_reaches_nobody(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        plan = HotspotPlan(PLAN.ssid, PLAN.passphrase, 6, "192.0.2.1", lease_delay_s=None)
        access_point, _ = await world.hosted(plan)
        station, witness = await world.radio(STATION)
        await station.join(plan.ssid, plan.passphrase)
        await witness.see("joined")
        async with echo_service() as port:
            access_point.listen(80, port)
            with pytest.raises(Silent):
                await station.dial("192.0.2.1", 80, limit_s=2.0)

    run_world(play)


def test_a_station_its_access_point_has_forgotten_reaches_nobody(run_world: RunWorld) -> None:
    """The station still believes it is in: the access point has begun anew under it."""

    async def play(world: World) -> None:
        access_point, _ = await world.hosted()
        station, witness = await world.joined()
        async with echo_service() as port:
            access_point.listen(80, port)
            await access_point.close()
            await access_point.open()
            await access_point.host(PLAN)
            with pytest.raises(Silent):
                await station.dial("192.0.2.1", 80, limit_s=2.0)
            assert witness.kinds() == ["joined", "leased"]

    run_world(play)


def test_members_of_two_networks_do_not_reach_each_other(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        await world.hosted()
        other_plan = HotspotPlan(b"other", None, 1, "192.0.2.1")
        other, _ = await world.hosted(other_plan, THIRD)
        station, _ = await world.joined()
        async with echo_service() as port:
            other.listen(80, port)
            with pytest.raises(Refused):  # it is our own access point that has this address here
                await station.dial("192.0.2.1", 80)

    run_world(play)


def test_a_stream_to_a_unit_whose_power_goes_falls_silent(run_world: RunWorld) -> None:
    """No end is seen although the service's sockets close: nobody sent one on the air."""

    async def play(world: World) -> None:
        access_point, _ = await world.hosted()
        station, _ = await world.joined()
        async with echo_service() as port:
            access_point.listen(80, port)
            reader, writer = await station.dial("192.0.2.1", 80)
            writer.write(b"leaf")
            assert await reader.readexactly(4) == b"leaf"
            await access_point.close()
            writer.write(b"stem")
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(0.3):
                    await reader.read(1)
            writer.close()

    run_world(play)


def test_a_service_that_ends_a_stream_is_seen_to(run_world: RunWorld) -> None:
    async def play(world: World) -> None:
        access_point, _ = await world.hosted()
        station, _ = await world.joined()

        async def goodbye(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            with contextlib.closing(writer):
                writer.write(b"bye")

        server = await asyncio.start_server(goodbye, "127.0.0.1", 0)
        access_point.listen(80, server.sockets[0].getsockname()[1])
        reader, writer = await station.dial("192.0.2.1", 80)
        async with asyncio.timeout(PATIENCE_S):
            assert await reader.read() == b"bye"
        writer.close()
        server.close()

    run_world(play)
