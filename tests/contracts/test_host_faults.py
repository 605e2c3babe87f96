"""What becomes of the host's radios when something goes wrong there: only the lab has any to lose."""

import contextlib
import itertools
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.desk import THE_LABS_ALONE

from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.timeline import Expired, Timeline
from hil.instruments.console import Console
from hil.instruments.host.access_point import HostAccessPoint
from hil.instruments.host.air_capture import AirCapture
from hil.instruments.host.probe import HostProbe
from hil.instruments.network_plan import NetworkPlan
from hil.virtual.lab.usb_serial import UsbSerialPort

pytestmark = [
    THE_LABS_ALONE,
    pytest.mark.beyond_desk("it kills daemons by name, takes radios away and sets the host's clock: in the lab alone"),
]

NETWORK = NetworkPlan("bench-q7", "leaf and stem", 1)
LIMIT_S = 90.0
KILLED = """
import sys, time
from pathlib import Path
from hil.core.clock import Clock
from hil.core.timeline import Expired, Timeline
from hil.instruments.host.air_capture import AirCapture
from hil.instruments.console import Console
from hil.instruments.host.access_point import HostAccessPoint
from hil.instruments.network_plan import NetworkPlan
point = HostAccessPoint(Timeline(Clock()), ["wlan0"], "DE", Path(sys.argv[1]))
point.up(NetworkPlan("bench-q7", "leaf and stem", 1))
print("up", flush=True)
time.sleep(600)
"""


@pytest.fixture
def point(tmp_path: Path) -> Iterator[HostAccessPoint]:
    made = HostAccessPoint(Timeline(Clock()), ["wlan0"], "DE", tmp_path / "access point")
    with contextlib.closing(made):
        yield made


def daemons() -> list[str]:
    """The command lines of hostapd and dnsmasq that run."""
    lines = []
    for told in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):  # it ended meanwhile
            lines.append(told.read_bytes().replace(b"\0", b" ").decode())
    return [line for line in lines if line.startswith(("hostapd", "dnsmasq"))]


def test_a_killed_run_leaves_nothing_running_and_its_radios_to_the_next(tmp_path: Path) -> None:
    words = [sys.executable, "-c", KILLED, str(tmp_path / "first")]
    with subprocess.Popen(words, stdout=subprocess.PIPE) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == b"up\n"
        assert len(daemons()) == 2
        run.send_signal(signal.SIGKILL)
        run.wait(LIMIT_S)
    until_s = time.monotonic() + LIMIT_S
    while daemons():  # the keeper ends when it sees that nobody asks any more, and they with it
        assert time.monotonic() < until_s, f"{daemons()} after {LIMIT_S:g} s"
        time.sleep(0.05)
    with contextlib.closing(HostAccessPoint(Timeline(Clock()), ["wlan0"], "DE", tmp_path / "next")) as point:
        point.up(NETWORK)
        point.ask_status()
    assert Path("/sys/class/net/wlan0").exists()


def test_a_daemon_that_is_killed_is_a_witness_gone(point: HostAccessPoint) -> None:
    point.up(NETWORK)
    point.ask_status()
    subprocess.run(["pkill", "-KILL", "hostapd"], check=True, timeout=LIMIT_S)
    with pytest.raises(InstrumentGone, match=r"access point.*wlan0.*gone"):
        point.ask_status()


def test_a_radio_that_is_gone_is_a_witness_gone(point: HostAccessPoint) -> None:
    """hostapd itself runs on, and answers."""
    point.up(NETWORK)
    point.ask_status()
    take_away(point.namespace.path, "wlan0")
    with pytest.raises(InstrumentGone, match=r"access point.*wlan0.*gone"):
        wait_until_asking_fails(point.ask_status)


def test_a_probe_without_its_radio_is_a_witness_gone(tmp_path: Path) -> None:
    with contextlib.closing(HostProbe(Timeline(Clock()), "wlan2", tmp_path / "probe")) as probe:
        probe.ask_status()
        take_away(probe.namespace.path, "wlan2")
        with pytest.raises(InstrumentGone, match=r"probe.*gone"):
            wait_until_asking_fails(probe.ask_status)


def take_away(namespace: Path, interface: str) -> None:
    """Have a radio be gone from a namespace: back in the host's own."""
    there = ["nsenter", f"--net={namespace}"]
    told = subprocess.run(
        [*there, "iw", "dev", interface, "info"], check=True, capture_output=True, text=True, timeout=LIMIT_S
    )
    phy = "phy#" + told.stdout.split("wiphy ")[1].split()[0]  # by number: its name is in the /sys of over there
    subprocess.run([*there, "iw", phy, "set", "netns", "1"], check=True, timeout=LIMIT_S)


def test_a_dhcp_server_that_is_killed_is_a_witness_gone(point: HostAccessPoint) -> None:
    point.up(NETWORK)
    point.ask_status()
    subprocess.run(["pkill", "-KILL", "dnsmasq"], check=True, timeout=LIMIT_S)
    with pytest.raises(InstrumentGone, match=r"access point.*DHCP server is gone"):
        wait_until_asking_fails(point.ask_status)


def wait_until_asking_fails(ask: Callable[[], object]) -> None:
    """Ask until it raises: what was taken away is gone a little later."""
    until_s = time.monotonic() + LIMIT_S
    while time.monotonic() < until_s:
        ask()
        time.sleep(0.05)


def test_frames_keep_their_times_while_the_host_s_clock_is_set_by_an_hour(point: HostAccessPoint) -> None:
    heard_s: list[float] = []
    with contextlib.closing(AirCapture("wlan3", 1, lambda _frame, came_s: heard_s.append(came_s))) as capture:
        for address in point.addresses:
            capture.add(address)
        point.up(NETWORK)
        begun_s, wall_s = time.monotonic(), time.time()
        for step_s in (3600.0, -3600.0):
            time.sleep(1.0)  # frames come all the while
            time.clock_settime(time.CLOCK_REALTIME, time.time() + step_s)
        time.sleep(1.0)
        assert abs(time.time() - wall_s) < LIMIT_S
    told_s = [came_s for came_s in heard_s if came_s >= begun_s - 1.0]
    assert len(told_s) == len(heard_s) > 10
    assert max(told_s) <= time.monotonic()
    assert all(after_s - before_s > -0.2 for before_s, after_s in itertools.pairwise(told_s))


def test_a_radio_in_use_is_not_there_for_another_run(point: HostAccessPoint, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"radio wlan0: there is no such radio.*wlan1"):
        HostAccessPoint(Timeline(Clock()), ["wlan0"], "DE", tmp_path / "other")


def test_what_hostapd_refuses_is_told_with_its_log(point: HostAccessPoint) -> None:
    """Channel 14 is Japan's."""
    with pytest.raises(BenchError, match=r"access point.*hostapd says: .*not allowed for AP mode.*log"):
        point.up(NetworkPlan("bench-q7", "leaf and stem", 14))


def test_a_serial_port_unplugged_and_plugged_again_is_read_on(tmp_path: Path) -> None:
    """Known by its serial number: the kernel may give it another path."""
    timeline = Timeline(Clock())
    with contextlib.closing(UsbSerialPort("MV2-fault")) as unit, contextlib.ExitStack() as stack:
        assert unit.port.startswith("/dev/ttyACM")
        console = Console("usb:MV2-fault", timeline, tmp_path / "console.raw")
        console.open()
        stack.callback(console.close)
        unit.say(b"before\r\n")
        _wait(timeline, "line", "before")
        unit.unplug()
        _wait(timeline, "lost")
        mark = timeline.mark()
        unit.plug()
        _wait(timeline, "opened", since=mark)
        unit.say(b"after\r\n")
        _wait(timeline, "line", "after")


def _wait(timeline: Timeline, kind: str, text: str = "", since: int = 0) -> None:
    seen = timeline.wait(
        lambda m: m.is_("console", kind) and text in m.text("text"), limit_s=LIMIT_S, awaited=kind, since=since
    )
    assert not isinstance(seen, Expired), [m for m in timeline.since() if m.source == "console"]
