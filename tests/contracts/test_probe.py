"""What every probe must do on a unit's hotspot: get in by the right key only, say why not, and reach the unit's pages alone.

Held alike against the virtual one and, in the lab, against wpa_supplicant 2.10 and busybox's DHCP client on the kernel's
own 802.11 stack, with hostapd and dnsmasq as the unit: what those do is the outside check. On a desk they are that on the access
point's radio.
"""

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.desk import Desk
from support.guests import SPEED

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments.host.access_point import ADDRESS, HostAccessPoint
from hil.instruments.host.probe import HostProbe
from hil.instruments.network_plan import KeyManagement, NetworkPlan
from hil.instruments.pages import Pages
from hil.instruments.stations import Probe
from hil.virtual.air.radio import HotspotPlan, Radio
from hil.virtual.bench_air import AirThread
from hil.virtual.bench_stations import VirtualProbe
from hil.virtual.world import WorldProcess

Hotspot = tuple[str, str]  # its radio, and the country whose rules hold

NAME, KEY = "mossgate-00b2", "label key 1"
PAGE = b"HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nvents"
LIMIT_S, SHORT_S = 60.0, {"virtual": 3.0, "lab": 12.0, "desk": 12.0}  # real seconds; the lab's machine is slow


@dataclass(frozen=True)
class Scene:
    """A probe, and a unit's hotspot with a page at port 80 of its address."""

    probe: Probe
    timeline: Timeline
    address: str
    offer: Callable[[str | None, KeyManagement], None]
    """Have the hotspot secured otherwise: with that key, and so."""

    def kinds(self) -> list[str]:
        """What the probe booked, but for its answers."""
        return [m.kind for m in self.timeline.since() if m.source == "probe" and m.kind != "answering"]


def serve(listener: socket.socket, stack: contextlib.ExitStack) -> None:
    """Answer whoever comes with the page, until the test is over."""

    def run() -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = listener.accept()
                with client, contextlib.suppress(OSError):
                    client.recv(4096)
                    client.sendall(PAGE)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    stack.callback(thread.join, LIMIT_S)
    stack.callback(listener.close)
    stack.callback(lambda: listener.shutdown(socket.SHUT_RDWR))


def virtual_scene(stack: contextlib.ExitStack, timeline: Timeline) -> Scene:
    process = WorldProcess("air", {"speed": SPEED["virtual"], "seed": 1})
    stack.callback(process.stop)
    air = AirThread()
    stack.callback(air.close)
    unit = Radio(
        process.port("port"), bytes.fromhex("0200000000b2"), speed=SPEED["virtual"], on_event=lambda _event: None
    )
    air.run(unit.open())
    stack.callback(lambda: air.run(unit.close()))
    air.run(unit.host(HotspotPlan(NAME.encode(), KEY.encode(), 6, "203.0.113.1")))
    listener = socket.create_server(("127.0.0.1", 0))
    serve(listener, stack)
    air.loop.call_soon_threadsafe(unit.listen, 80, listener.getsockname()[1])
    probe = VirtualProbe(timeline, air, process.port("port"), bytes.fromhex("0200000000a1"), seed=1)
    stack.callback(probe.close)
    probe.start()

    def offer(key: str | None, key_management: KeyManagement) -> None:
        octets = None if key is None else key.encode()
        air.run(unit.host(HotspotPlan(NAME.encode(), octets, 6, "203.0.113.1", key_management=key_management)))

    return Scene(probe, timeline, "203.0.113.1", offer)


def host_scene(stack: contextlib.ExitStack, timeline: Timeline, folder: Path, hotspot: Hotspot, radio: str) -> Scene:
    interface, country = hotspot
    unit = HostAccessPoint(Timeline(Clock()), [interface], country, folder / "unit")
    stack.callback(unit.close)
    unit.up(NetworkPlan(NAME, KEY, 6))
    serve(unit.namespace.listen(ADDRESS, 80), stack)
    probe = HostProbe(timeline, radio, folder / "probe")
    stack.callback(probe.close)
    return Scene(
        probe,
        timeline,
        ADDRESS,
        lambda key, key_management: unit.up(NetworkPlan(NAME, key, 6, key_management=key_management)),
    )


@pytest.fixture
def scene(place: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Scene]:
    timeline = Timeline(Clock(SPEED[place]))
    with contextlib.ExitStack() as stack:
        if place == "virtual":
            yield virtual_scene(stack, timeline)
            return
        hotspot, radio = ("wlan0", "DE"), "wlan2"
        if place == "desk":
            desk: Desk = request.getfixturevalue("desk")
            (radios, country), radio = desk.networks, desk.probe
            hotspot = radios[0], country
        yield host_scene(stack, timeline, tmp_path, hotspot, radio)


@pytest.fixture
def unit_s(scene: Scene) -> Callable[[float], float]:
    """Real seconds as unit seconds."""
    return scene.timeline.clock.unit_s


@pytest.mark.daily
def test_with_the_right_key_it_is_in_and_has_an_address(scene: Scene, unit_s: Callable[[float], float]) -> None:
    lease = scene.probe.join(NAME, KEY, unit_s(LIMIT_S))
    assert lease is not None
    assert (lease.network, lease.router) == (NAME, scene.address)
    assert lease.address.rpartition(".")[0] == scene.address.rpartition(".")[0]
    assert scene.kinds()[:2] == ["joined", "leased"]
    leased = next(m for m in scene.timeline.since() if m.is_("probe", "leased"))
    assert (leased.text("ip"), leased.text("mask"), leased.text("server")) == (
        lease.address,
        "255.255.255.0",
        scene.address,
    )
    scene.probe.ask_status()
    scene.probe.leave()
    assert scene.kinds()[-1] == "left"


@pytest.mark.parametrize(
    ("key", "key_management", "security"),
    [(None, "wpa2", "open"), (KEY, "wpa2", "wpa2"), (KEY, "wpa2 and wpa3", "wpa2 and wpa3"), (KEY, "wpa3", "wpa3")],
)
def test_it_joins_however_the_hotspot_is_secured_and_tells_how(
    scene: Scene,
    place: str,
    unit_s: Callable[[float], float],
    key: str | None,
    key_management: KeyManagement,
    security: str,
) -> None:
    scene.offer(key, key_management)
    if (place, security) == ("virtual", "wpa3"):  # no station of the virtual air knows SAE
        assert scene.probe.join(NAME, key, unit_s(SHORT_S[place])) is None
        return
    assert scene.probe.join(NAME, key, unit_s(LIMIT_S)) is not None
    joined = next(m for m in scene.timeline.since() if m.is_("probe", "joined"))
    assert joined.text("security") == security


def test_a_wrong_key_is_told_as_such(scene: Scene, place: str, unit_s: Callable[[float], float]) -> None:
    assert scene.probe.join(NAME, "another key", unit_s(SHORT_S[place])) is None
    failed = next(m for m in scene.timeline.since() if m.is_("probe", "join failed"))
    assert (failed.text("name"), failed.text("why")) == (NAME, "wrong key")
    assert "leased" not in scene.kinds()


def test_a_network_that_is_not_there_is_not_found(scene: Scene, place: str, unit_s: Callable[[float], float]) -> None:
    assert scene.probe.join("mossgate-ffff", KEY, unit_s(SHORT_S[place])) is None
    failed = next(m for m in scene.timeline.since() if m.is_("probe", "join failed"))
    assert failed.text("why") == "not found"


def test_pages_come_through_it_and_refused_is_not_silent(scene: Scene, unit_s: Callable[[float], float]) -> None:
    lease = scene.probe.join(NAME, KEY, unit_s(LIMIT_S))
    assert lease is not None
    pages = Pages(lease.endpoint_url, NAME, lease.address, limit_s=LIMIT_S)
    answer = pages.get(f"http://{scene.address}/")
    assert (answer.outcome, answer.status, answer.body) == ("answered", 200, b"vents")
    assert pages.get(f"http://{scene.address}:81/").outcome == "refused"
    network = scene.address.rpartition(".")[0]
    assert pages.get(f"http://{network}.99/").outcome == "silent"
    scene.probe.look_up(scene.address, "mossgate.example", "A", unit_s(3.0))
    assert scene.kinds()[-2:] == ["asks for a name", "name unanswered"]
