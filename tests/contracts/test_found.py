"""What the host has, and gets back from a dead run: the lab's radios and camera are known.

On a desk they are what its bench file names: another's word, though a person's.
"""

import signal
import subprocess
import sys
import time

import pytest
from support.desk import Desk

from hil.instruments.host.found import find_cameras, find_radios

LIMIT_S = 60.0
HOLDS = """
import sys, time
from hil.instruments.host.namespace import Namespace
space = Namespace([sys.argv[1]])
print("held", flush=True)
time.sleep(600)
"""


@pytest.fixture
def desk_there(place: str, request: pytest.FixtureRequest) -> Desk | None:
    """The desk, if this is one."""
    if place == "virtual":
        pytest.skip("the lab's alone: ci/measure lab")
    desk: Desk | None = request.getfixturevalue("desk") if place == "desk" else None
    return desk


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


def test_a_dead_run_s_radio_is_the_host_s_again(desk_there: Desk | None) -> None:
    radio = desk_there.networks[0][0] if desk_there else "wlan0"
    with subprocess.Popen([sys.executable, "-c", HOLDS, radio], stdout=subprocess.PIPE) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == b"held\n"
        assert radio not in {found.interface for found in find_radios()}
        run.send_signal(signal.SIGKILL)
        run.wait(LIMIT_S)
    until_s = time.monotonic() + LIMIT_S
    while radio not in {found.interface for found in find_radios()}:
        assert time.monotonic() < until_s, f"the radio did not come back within {LIMIT_S:g} s"
        time.sleep(0.05)  # the kernel gives it back when it comes to it, and tells nobody
