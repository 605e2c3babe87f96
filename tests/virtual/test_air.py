"""The air as a process: its beginning and end, who hears what, loss, delay and signal."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from scapy.layers.dot11 import Dot11Beacon, RadioTap

from hil.virtual.air.air import read_air_config
from hil.virtual.air.monitor import Monitor
from hil.virtual.air.radio import HotspotPlan, Radio, RadioEvent

if TYPE_CHECKING:
    from conftest import AirProcess

    StartAir = Callable[..., AirProcess]

AP, STATION = bytes.fromhex("02a0b0c0d0e1"), bytes.fromhex("02a0b0c0d0e2")
PLAN = HotspotPlan(b"Mossgate vent", b"leaf and stem", 6, "192.0.2.1")
PATIENCE_S = 20.0


def forget(_: RadioEvent) -> None:
    """Take an event no one asks for."""


async def hear(air: AirProcess, channels: tuple[int, ...], plans: dict[bytes, HotspotPlan], frames: int) -> list[bytes]:
    """Host the plans and return the first frames a monitor of those channels hears."""
    heard: list[bytes] = []
    enough = asyncio.Event()

    def keep(frame: bytes, _: float) -> None:
        heard.append(frame)
        if len(heard) >= frames:
            enough.set()

    monitor = Monitor(air.port, channels, on_frame=keep)
    radios = [Radio(air.port, address, speed=air.speed, on_event=forget) for address in plans]
    await monitor.open()
    for radio, plan in zip(radios, plans.values(), strict=True):
        await radio.open()
        await radio.host(plan)
    async with asyncio.timeout(PATIENCE_S):
        await enough.wait()
    for client in (*radios, monitor):
        await client.close()
    return heard[:frames]


def test_it_ends_when_its_standard_input_ends(air: AirProcess) -> None:
    assert air.end() == 0


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's parent-death signal is Linux's")
def test_it_ends_when_whoever_started_it_is_killed() -> None:
    starter = (
        "import subprocess, sys, time\n"
        "air = subprocess.Popen([sys.executable, '-m', 'hil.virtual.air'], stdin=subprocess.PIPE)\n"
        "print(air.pid, flush=True)\n"
        "time.sleep(600)\n"
    )
    with subprocess.Popen([sys.executable, "-c", starter], stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        first, second = parent.stdout.readline(), parent.stdout.readline()
        pid = next(int(line) for line in (first, second) if line.strip().isdigit())
        air = os.pidfd_open(pid)
        parent.send_signal(signal.SIGKILL)
        os.set_blocking(air, False)
        try:
            wait_for_end(air)
        finally:
            os.close(air)


def wait_for_end(pidfd: int) -> None:
    """Wait until a process has ended: its descriptor then becomes readable (pidfd_open(2))."""

    async def wait() -> None:
        ended = asyncio.Event()
        asyncio.get_running_loop().add_reader(pidfd, ended.set)
        async with asyncio.timeout(PATIENCE_S):
            await ended.wait()

    asyncio.run(wait())


def test_a_monitor_hears_the_channels_it_watches_and_no_other(air: AirProcess) -> None:
    other = HotspotPlan(b"other", None, 11, "203.0.113.1")
    heard = asyncio.run(hear(air, (6,), {AP: PLAN, STATION: other}, 10))
    assert {RadioTap(frame).ChannelFrequency for frame in heard} == {2437}
    heard = asyncio.run(hear(air, (6, 11), {AP: PLAN, STATION: other}, 10))
    assert {RadioTap(frame).ChannelFrequency for frame in heard} == {2437, 2462}


def test_the_monitors_clock_counts_unit_microseconds(air: AirProcess) -> None:
    """Beacons are due 102.4 ms apart (100 TU of 1024 us, IEEE 802.11-2020 clause 3), by sender's and hearer's clocks."""
    heard = [RadioTap(frame) for frame in asyncio.run(hear(air, (6,), {AP: PLAN}, 30))]
    senders_us = heard[-1][Dot11Beacon].timestamp - heard[0][Dot11Beacon].timestamp
    hearers_us = heard[-1].mac_timestamp - heard[0].mac_timestamp
    assert hearers_us == pytest.approx(senders_us, rel=0.2)
    assert senders_us >= 28 * 102_400


def test_signals_are_set_by_pair_and_jitter_about_them(start_air: StartAir) -> None:
    air = start_air(signals=[{"between": [AP.hex(":"), "monitor"], "dbm": -70}], jitter_db=3)
    heard = asyncio.run(hear(air, (6,), {AP: PLAN}, 40))
    signals = {RadioTap(frame).dBm_AntSignal for frame in heard}
    assert len(signals) > 1
    assert signals <= set(range(-73, -66))
    heard = asyncio.run(hear(air, (6,), {STATION: PLAN}, 40))
    assert {RadioTap(frame).dBm_AntSignal for frame in heard} <= set(range(-51, -44))


def test_the_same_seed_gives_the_same_signals(start_air: StartAir) -> None:
    def signals(seed: int) -> list[int]:
        heard = asyncio.run(hear(start_air(seed=seed), (6,), {AP: PLAN}, 20))
        return [RadioTap(frame).dBm_AntSignal for frame in heard]

    first = signals(7)
    assert signals(7) == first
    assert signals(8) != first


def test_a_lossy_air_swallows_beacons_yet_lets_a_station_join(start_air: StartAir) -> None:
    air = start_air(loss=0.3)
    heard = asyncio.run(hear(air, (6,), {AP: PLAN}, 100))
    numbers = [RadioTap(frame).SC >> 4 for frame in heard]
    missing = numbers[-1] - numbers[0] + 1 - len(numbers)
    # About 43 of 143 are lost; both bounds are beyond 5 standard deviations of that binomial count.
    assert 10 < missing < 90
    assert asyncio.run(join_kind(air)) == "leased"


def test_a_slow_air_lets_a_station_join(start_air: StartAir) -> None:
    assert asyncio.run(join_kind(start_air(delay_s=0.02))) == "leased"


async def join_kind(air: AirProcess) -> str:
    """Host and join; return what the attempt ended in."""
    ended: asyncio.Future[str] = asyncio.get_running_loop().create_future()

    def watch(event: RadioEvent) -> None:
        if event.kind in ("leased", "join failed") and not ended.done():
            ended.set_result(event.kind)

    access_point = Radio(air.port, AP, speed=air.speed, on_event=forget)
    station = Radio(air.port, STATION, speed=air.speed, on_event=watch)
    await access_point.open()
    await access_point.host(PLAN)
    await station.open()
    await station.join(PLAN.ssid, PLAN.passphrase)
    async with asyncio.timeout(PATIENCE_S):
        kind = await ended
    await station.close()
    await access_point.close()
    return kind


def test_a_configuration_that_is_no_number_is_refused() -> None:
    with pytest.raises(SystemExit, match="speed"):
        read_air_config({"speed": "fast"})


def test_a_weaker_sender_is_heard_so_much_weaker(start_air: StartAir) -> None:
    """A plan's word about its strength holds for whoever hears it, and for no other sender."""
    air = start_air(signals=[{"between": [AP.hex(":"), "monitor"], "dbm": -50}], jitter_db=0)
    weak = replace(PLAN, weaker_by_db=25.0)
    other = HotspotPlan(b"other", None, 6, "203.0.113.1")
    heard = [RadioTap(frame) for frame in asyncio.run(hear(air, (6,), {AP: weak, STATION: other}, 20))]
    signals = {(frame.addr2, frame.dBm_AntSignal) for frame in heard}
    assert signals == {(AP.hex(":"), -75), (STATION.hex(":"), -48)}
