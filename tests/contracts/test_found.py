"""What the host has, and what a dead run left on it: the lab's radios and camera are known, and its namespaces."""

import os
import signal
import subprocess
import sys
import time

import pytest

from hil.core.errors import BenchError
from hil.instruments.host.found import Leftover, find_cameras, find_leftovers, find_radios, remove

pytestmark = pytest.mark.skipif(os.environ.get("LAB") != "1", reason="needs the lab's radios: ci/measure lab")

LIMIT_S = 60.0
HOLDS = """
import subprocess, sys, time
from hil.instruments.host.namespace import Namespace
space = Namespace("hil-ap-9", ["wlan0"])
space.start(["sleep", "600"], subprocess.DEVNULL)
print("held", flush=True)
time.sleep(600)
"""


def _held_by_somebody() -> Leftover:
    """The one namespace, once the program that was started for it is in it."""
    until_s = time.monotonic() + LIMIT_S
    while time.monotonic() < until_s:
        (held,) = find_leftovers()
        if held.held_by:
            return held
        time.sleep(0.05)  # the kernel tells of no such change
    raise AssertionError(f"nobody came into {held.name} within {LIMIT_S:g} s")


def test_every_radio_is_found_with_what_it_can_be() -> None:
    radios = {radio.interface: radio for radio in find_radios()}
    assert set(radios) == {f"wlan{number}" for number in range(7)}
    assert all({"AP", "managed", "monitor"} <= set(radio.modes) for radio in radios.values())
    assert {radio.driver for radio in radios.values()} == {"mac80211_hwsim"}
    assert not any(radio.is_used for radio in radios.values())


def test_a_camera_is_found_with_a_still() -> None:
    cameras = [camera for camera in find_cameras() if camera.still is not None]
    assert [camera.path for camera in cameras] == ["/dev/video0"]
    assert cameras[0].still is not None
    assert cameras[0].still.ndim == 3


def test_a_dead_run_s_namespace_is_removed_and_a_live_one_s_is_not() -> None:
    with subprocess.Popen([sys.executable, "-c", HOLDS], stdout=subprocess.PIPE) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == b"held\n"
        held = _held_by_somebody()
        assert held.name == "hil-ap-9"
        with pytest.raises(BenchError, match="processes run in it"):
            remove(held)
        run.send_signal(signal.SIGKILL)
        run.wait(LIMIT_S)
    (left,) = find_leftovers()
    assert left.held_by == ()
    assert "wlan0" not in {radio.interface for radio in find_radios()}
    remove(left)
    assert find_leftovers() == []
    until_s = time.monotonic() + LIMIT_S
    while "wlan0" not in {radio.interface for radio in find_radios()}:
        assert time.monotonic() < until_s, f"the radio did not come back within {LIMIT_S:g} s"
        time.sleep(0.05)  # the kernel gives it back when it comes to it, and tells nobody
