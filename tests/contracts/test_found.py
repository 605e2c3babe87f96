"""What the host has, and what a dead run left on it: the lab's radios and camera are known, and its namespaces.

On a desk they are what its bench file names: another's word, though a person's.
"""

import signal
import subprocess
import sys
import time

import pytest
from support.desk import Desk

from hil.core.errors import BenchError
from hil.instruments.host.found import Leftover, find_cameras, find_leftovers, find_radios, remove

LIMIT_S = 60.0
HOLDS = """
import subprocess, sys, time
from hil.instruments.host.namespace import Namespace
space = Namespace("hil-ap-9", [sys.argv[1]])
space.start(["sleep", "600"], subprocess.DEVNULL)
print("held", flush=True)
time.sleep(600)
"""


@pytest.fixture
def desk_there(place: str, request: pytest.FixtureRequest) -> Desk | None:
    """The desk, if this is one."""
    if place == "virtual":
        pytest.skip("needs the lab's radios: ci/measure lab")
    desk: Desk | None = request.getfixturevalue("desk") if place == "desk" else None
    return desk


def _ours() -> list[Leftover]:
    """That of this test: on a desk there may be others."""
    return [left for left in find_leftovers() if left.name == "hil-ap-9"]


def _held_by_somebody() -> Leftover:
    """The namespace, once the program that was started for it is in it."""
    until_s = time.monotonic() + LIMIT_S
    while time.monotonic() < until_s:
        (held,) = _ours()
        if held.held_by:
            return held
        time.sleep(0.05)  # the kernel tells of no such change
    raise AssertionError(f"nobody came into {held.name} within {LIMIT_S:g} s")


def test_every_radio_is_found_with_what_it_can_be(desk_there: Desk | None) -> None:
    radios = {radio.interface: radio for radio in find_radios()}
    if desk_there is not None:
        named, listens = desk_there.networks[0], desk_there.file.air_monitor.radio
        assert all("AP" in radios[name].modes for name in named)
        assert "managed" in radios[desk_there.probe].modes
        assert listens is None or "monitor" in radios[listens].modes
        return
    assert set(radios) == {f"wlan{number}" for number in range(7)}
    assert all({"AP", "managed", "monitor"} <= set(radio.modes) for radio in radios.values())
    assert {radio.driver for radio in radios.values()} == {"mac80211_hwsim"}
    assert not any(radio.is_used for radio in radios.values())


def test_a_camera_is_found_with_a_still(desk_there: Desk | None) -> None:
    source: object = desk_there.camera[0] if desk_there else "/dev/video0"
    if not str(source).startswith("/dev/"):
        pytest.skip(f"the bench file names its camera as {source}: no device that could be found by its path")
    cameras = [camera for camera in find_cameras() if camera.path == source]
    assert len(cameras) == 1
    assert cameras[0].still is not None
    assert cameras[0].still.ndim == 3


def test_a_dead_run_s_namespace_is_removed_and_a_live_one_s_is_not(desk_there: Desk | None) -> None:
    radio = desk_there.networks[0][0] if desk_there else "wlan0"
    with subprocess.Popen([sys.executable, "-c", HOLDS, radio], stdout=subprocess.PIPE) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == b"held\n"
        held = _held_by_somebody()
        assert held.name == "hil-ap-9"
        with pytest.raises(BenchError, match="processes run in it"):
            remove(held)
        run.send_signal(signal.SIGKILL)
        run.wait(LIMIT_S)
    (left,) = _ours()
    assert left.held_by == ()
    assert radio not in {found.interface for found in find_radios()}
    remove(left)
    assert _ours() == []
    until_s = time.monotonic() + LIMIT_S
    while radio not in {found.interface for found in find_radios()}:
        assert time.monotonic() < until_s, f"the radio did not come back within {LIMIT_S:g} s"
        time.sleep(0.05)  # the kernel gives it back when it comes to it, and tells nobody
