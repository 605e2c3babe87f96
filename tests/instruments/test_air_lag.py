"""The air monitor's doubt: how late frames come, told by the beacons of the bench's own control network.

Beacons are made by scapy. The expected doubt is that of Wilks' order statistic (see `tests/core/test_lag.py`).
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from scapy.layers.dot11 import Dot11, Dot11Beacon, Dot11Elt, RadioTap

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments import air_monitor
from hil.instruments.air_monitor import LAG_AT_FIRST_REAL_S, LEAST_LAG_REAL_S, AirMonitor

SPEED = 4.0
CONTROL, UNIT = "control-k3f9", "mossgate-3f7a"


def beacon(name: str, sender: str, tsf_us: int, captured_us: int) -> bytes:
    head = RadioTap(present="TSFT+Channel+dBm_AntSignal", mac_timestamp=captured_us, dBm_AntSignal=-50)
    frame = Dot11(type=0, subtype=8, addr1="ff:ff:ff:ff:ff:ff", addr2=sender, addr3=sender)
    return bytes(head / frame / Dot11Beacon(timestamp=tsf_us) / Dot11Elt(ID="SSID", info=name.encode()))


@pytest.fixture
def timeline(tmp_path: Path) -> Timeline:
    return Timeline(Clock(SPEED))


@pytest.fixture
def monitor(timeline: Timeline, tmp_path: Path) -> Iterator[AirMonitor]:
    monitor = AirMonitor(timeline, tmp_path / "air.pcapng", CONTROL)
    yield monitor
    monitor.close()


def test_doubt_is_the_lag_of_the_control_beacons(monitor: AirMonitor, timeline: Timeline) -> None:
    """Their clock has a zero of its own; lags are drawn, the first is the quickest."""
    lags_s = [0.0, *np.random.default_rng(3).exponential(0.002, 98)]
    for number, lag_s in enumerate(lags_s):
        sent_s = 10.0 + 0.1024 * number
        monitor.hear(
            beacon(CONTROL, "02:00:00:00:00:01", 7_000_000 + 102_400 * number, number), (sent_s + lag_s) / SPEED
        )
    monitor.hear(beacon(UNIT, "02:00:00:00:00:02", 1, 1), 10.0)
    expected_s = sorted(lags_s)[95 - 1] + SPEED * LEAST_LAG_REAL_S  # of 99 lags, the 95th smallest
    assert timeline.since()[-1].doubt_s == pytest.approx(expected_s, abs=2e-6)  # stamps count microseconds


def test_the_units_own_beacons_tell_nothing_of_the_lag(monitor: AirMonitor, timeline: Timeline) -> None:
    for number in range(60):
        monitor.hear(beacon(UNIT, "02:00:00:00:00:02", 102_400 * number, number), 1.0 + 0.5 * number)
    at_first_s = SPEED * (LAG_AT_FIRST_REAL_S + LEAST_LAG_REAL_S)
    assert {moment.doubt_s for moment in timeline.since()} == {at_first_s}


def test_frames_that_differ_by_their_stamps_alone_are_dissected_once(
    monitor: AirMonitor, timeline: Timeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A monitor that dissects every beacon loads the machine it measures with."""
    dissected, dissect = [], air_monitor._dissect
    monkeypatch.setattr(air_monitor, "_dissect", lambda packet: dissected.append(packet) or dissect(packet))
    for number in range(20):
        monitor.hear(beacon(UNIT, "02:00:00:00:00:02", 102_400 * number, 99 * number), 0.1 * number)
    assert len(dissected) == 1
    assert [moment.data["tsf"] for moment in timeline.since()] == [102_400 * number for number in range(20)]
    assert {moment.text("name") for moment in timeline.since()} == {UNIT}
