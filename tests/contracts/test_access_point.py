"""What every access point must book of a unit that joins, is refused, is kept waiting for an address, and goes.

Held alike against the virtual one and, in the lab, against hostapd 2.10 and dnsmasq 2.90 on the kernel's own 802.11 stack
with wpa_supplicant as the unit: what those do is the outside check. On a desk the unit is wpa_supplicant on the probe's radio.
"""

import contextlib
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from support.desk import Desk
from support.guests import SPEED, Guest, HostGuest, VirtualGuest

from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError
from hil.core.leases import RENEWS_AT, SHORTEST_S
from hil.core.moments import Moment
from hil.core.timeline import Expired, Timeline
from hil.instruments.host.access_point import HostAccessPoint
from hil.instruments.network_plan import KeyManagement, NetworkPlan, ProtectedFrames, RadioMode
from hil.instruments.stations import AccessPoint
from hil.virtual.bench_air import AirThread
from hil.virtual.bench_stations import VirtualAccessPoint
from hil.virtual.world import WorldProcess

NETWORK = NetworkPlan("bench-q7 ☘", "leaf & stem, 1", 1)
WPA3 = replace(NETWORK, key_management="wpa3")
LIMIT_S = 40.0  # real seconds; the lab's machine is slow
DELAY_S, TRIES, AGAIN_S = 2.0, 5, 16.0  # a virtual station gives up by then; real seconds
REPORTING = ("takes reports", "called", "report")
QUIET_S = {"virtual": 2.0, "lab": 8.0, "desk": 8.0}
LAB_RADIOS, LAB_COUNTRY, LAB_UNIT = ["wlan0", "wlan1"], "DE", "wlan2"


@dataclass(frozen=True)
class Scene:
    """An access point and a unit."""

    access_point: AccessPoint
    guest: Guest
    timeline: Timeline

    def wait(self, *kinds: str, since: int = 0, limit_s: float = LIMIT_S) -> Moment | Expired:
        """The first moment of one of the kinds about the unit."""
        return self.timeline.wait(
            lambda m: m.source == "access point" and m.kind in kinds and m.text("address") == self.guest.address,
            limit_s=self.timeline.clock.unit_s(limit_s),
            awaited=" or ".join(kinds),
            since=since,
        )

    def seen(self, *kinds: str, since: int = 0) -> Moment:
        """The same, which must come."""
        moment = self.wait(*kinds, since=since)
        assert isinstance(moment, Moment), (moment, [m for m in self.timeline.since() if m.source == "access point"])
        return moment

    def seen_after(self, kind: str, after_s: float, *, limit_s: float) -> Moment:
        """The first about the unit from a time on, within so many of the unit's seconds."""
        moment = self.timeline.wait(
            lambda m: m.is_("access point", kind) and m.text("address") == self.guest.address and m.time_s > after_s,
            limit_s=limit_s,
            awaited=kind,
            since=0,
        )
        assert isinstance(moment, Moment), moment
        return moment


@pytest.fixture
def scene(place: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Scene]:
    timeline = Timeline(Clock(SPEED[place]))
    with contextlib.ExitStack() as stack:
        if place == "virtual":
            process = WorldProcess("air", {"speed": SPEED[place], "seed": 1})
            stack.callback(process.stop)
            air = AirThread()
            stack.callback(air.close)
            addresses = [bytes.fromhex(f"0200000000c{number}") for number in range(3)]
            virtual = VirtualAccessPoint(timeline, air, process.port("port"), addresses, seed=1)
            stack.callback(virtual.close)
            virtual.start("control-q7", (1,))
            guest: Guest = VirtualGuest(air, process.port("port"), bytes.fromhex("0200000000b2"), SPEED[place])
            point: AccessPoint = virtual
        else:
            radios, country, unit = LAB_RADIOS, LAB_COUNTRY, LAB_UNIT
            if place == "desk":
                desk: Desk = request.getfixturevalue("desk")
                (radios, country), unit = desk.networks, desk.probe
            real = HostAccessPoint(timeline, radios, country, tmp_path / "access point")
            stack.callback(real.close)
            guest, point = HostGuest(unit, tmp_path / "unit"), real
        stack.callback(guest.close)
        yield Scene(point, guest, timeline)


@pytest.mark.daily
def test_a_unit_that_joins_is_booked_with_its_address(scene: Scene) -> None:
    scene.access_point.up(NETWORK)
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    joined, asked, leased = (scene.seen(kind) for kind in ("joined", "lease asked", "leased"))
    assert joined.time_s <= asked.time_s <= leased.time_s
    up = next(m for m in scene.timeline.since() if m.is_("access point", "up"))
    assert {m.text("bssid") for m in (joined, asked, leased)} == {up.text("bssid")}
    assert leased.text("ip").startswith("198.51.100.")
    scene.access_point.ask_status()
    answered = scene.timeline.since()[-1]
    assert answered.is_("access point", "answering")
    assert (answered.data["members"], answered.data["network"]) == (1, NETWORK.name)


def test_a_wrong_key_is_booked_and_nobody_joins(scene: Scene, place: str) -> None:
    scene.access_point.up(NETWORK)
    scene.guest.join(NETWORK.name, "not leaf nor stem")
    scene.seen("wrong key")
    assert isinstance(scene.wait("joined", limit_s=QUIET_S[place]), Expired)


def test_a_unit_that_goes_has_left(scene: Scene) -> None:
    scene.access_point.up(NETWORK)
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    scene.seen("leased")
    mark = scene.timeline.mark()
    scene.guest.leave()
    scene.seen("left", since=mark)


def test_without_leases_a_unit_asks_and_gets_none(scene: Scene, place: str) -> None:
    scene.access_point.up(NetworkPlan(NETWORK.name, NETWORK.passphrase, 1, lease_delay_s=None))
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    scene.seen("joined")
    assert scene.seen("lease asked").text("message") == "discover"
    assert isinstance(scene.wait("leased", limit_s=QUIET_S[place]), Expired)


def test_a_lease_that_is_refused_is_asked_for_and_not_given(scene: Scene, place: str) -> None:
    scene.access_point.up(NetworkPlan(NETWORK.name, NETWORK.passphrase, 1, refuses_leases=True))
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    requested = scene.timeline.wait(
        lambda m: m.is_("access point", "lease asked") and m.text("message") == "request",
        limit_s=scene.timeline.clock.unit_s(LIMIT_S),
        awaited="a request for what was offered",
        since=0,
    )
    assert isinstance(requested, Moment), requested
    assert isinstance(scene.wait("leased", limit_s=QUIET_S[place]), Expired)


def test_a_hidden_and_open_network_is_joined_by_its_name(scene: Scene) -> None:
    scene.access_point.up(NetworkPlan(NETWORK.name, None, 6, hidden=True))
    scene.guest.join(NETWORK.name, None)
    scene.seen("leased")


@pytest.mark.parametrize(
    ("key_management", "protected_frames", "is_joined"),
    [
        ("wpa2", "optional", True),
        ("wpa2", "required", False),
        ("wpa2 and wpa3", "optional", True),
        ("wpa3", "required", False),
    ],
)
def test_a_unit_that_knows_wpa2_alone_joins_where_that_is_enough(
    scene: Scene, place: str, key_management: KeyManagement, protected_frames: ProtectedFrames, is_joined: bool
) -> None:
    scene.access_point.up(replace(NETWORK, key_management=key_management, protected_frames=protected_frames))
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    if is_joined:
        scene.seen("leased")
    else:
        assert isinstance(scene.wait("joined", limit_s=2.0 * QUIET_S[place]), Expired)


@pytest.mark.parametrize("plan", [WPA3, replace(NETWORK, protected_frames="required")])
def test_a_unit_that_knows_more_joins_the_networks_that_ask_for_it(scene: Scene, plan: NetworkPlan) -> None:
    if not isinstance(scene.guest, HostGuest):
        pytest.skip("no station of the virtual air knows SAE or protects its frames")
    scene.guest.knows = "wpa2 and wpa3"
    scene.access_point.up(plan)
    scene.guest.join(plan.name, plan.passphrase)
    scene.seen("leased")


@pytest.mark.parametrize("mode", ["b", "n"])
def test_a_network_of_another_mode_is_joined(scene: Scene, mode: RadioMode) -> None:
    scene.access_point.up(replace(NETWORK, mode=mode))
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    scene.seen("leased")


def test_a_channel_that_the_country_forbids_is_refused_in_plain_words_and_the_next_one_is_taken(scene: Scene) -> None:
    """Channel 14 is for Japan alone (IEEE 802.11-2020 table E-4); in the lab the words are hostapd's own."""
    with pytest.raises(BenchError, match=r"access point: .*channel 14.* not allowed .*Name"):
        scene.access_point.up(replace(NETWORK, channel=14))
    assert scene.access_point.network == ""
    scene.access_point.up(NETWORK)
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    scene.seen("leased")


def test_what_the_network_delays_comes_later_by_so_much(scene: Scene) -> None:
    """Dialling takes one way there and one back (RFC 9293, 3.5): the way to the unit is the one that is delayed."""
    took_s = dialled_s(scene, replace(NETWORK, delay_s=DELAY_S), times=3)
    assert min(took_s) >= DELAY_S


def test_of_what_the_network_loses_some_comes_at_the_second_try(scene: Scene) -> None:
    """A SYN without an answer is sent again after a second (RFC 6298, 2.1); that none of so many is: 1 in 44,000."""
    took_s = dialled_s(scene, replace(NETWORK, loss=0.3), times=30)
    assert 0 < sum(one_s >= 1.0 for one_s in took_s) < len(took_s)
    mark = scene.timeline.mark()
    scene.access_point.up(NETWORK)  # by the same radio, as good as ever
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    scene.seen("leased", since=mark)


def dialled_s(scene: Scene, plan: NetworkPlan, times: int) -> list[float]:
    """Have the unit join, and dial the bench so often: how long each took, in the unit's seconds."""
    scene.access_point.up(plan)
    scene.access_point.take_reports(8080, "answers")
    bench, clock, took_s = scene.access_point.lease_of_bench().address, scene.timeline.clock, []
    assert any(is_in(scene, plan, bench) for _ in range(TRIES)), f"no way to the bench after {TRIES} joins"
    for _ in range(times):
        begun_s = time.monotonic()
        with contextlib.suppress(TimeoutError), scene.guest.dial(bench, 8080):
            pass
        took_s.append(clock.unit_s(time.monotonic() - begun_s))
    scene.access_point.take_no_reports()
    return took_s


def is_in(scene: Scene, plan: NetworkPlan, bench: str) -> bool:
    """Whether the unit is in, and knows it: what gives it its address may be lost as anything else."""
    mark = scene.timeline.mark()
    scene.guest.join(plan.name, plan.passphrase)
    if isinstance(scene.wait("leased", limit_s=AGAIN_S, since=mark), Expired):
        return False
    with contextlib.suppress(TimeoutError), scene.guest.dial(bench, 8080):
        return True
    scene.guest.leave()
    return False


def test_a_network_that_goes_down_is_left_without_a_word_and_joined_again(scene: Scene) -> None:
    scene.access_point.up(NETWORK)
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    scene.seen("leased")
    scene.access_point.down()
    mark = scene.timeline.mark()
    assert scene.access_point.network == ""
    scene.access_point.up(NETWORK)
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    scene.seen("leased", since=mark)


def test_a_lease_is_for_as_long_as_was_said(scene: Scene) -> None:
    """Option 51 of RFC 2132 is what the unit is told; here by when it asks again: at half of it (RFC 2131 4.4.5)."""
    scene.access_point.up(replace(NETWORK, lease_s=SHORTEST_S))
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    leased = scene.seen("leased")
    renewed = scene.seen_after("lease asked", leased.time_s + 5.0, limit_s=SHORTEST_S)
    assert renewed.time_s - leased.time_s == pytest.approx(RENEWS_AT * SHORTEST_S, abs=3.0)


def test_reports_are_taken_left_without_an_answer_and_refused(scene: Scene) -> None:
    point, request = scene.access_point, b"POST /vents HTTP/1.0\r\nContent-Length: 2\r\n\r\n40"
    point.up(NETWORK)
    scene.guest.join(NETWORK.name, NETWORK.passphrase)
    scene.seen("leased")
    bench = point.lease_of_bench().address
    point.take_reports(8080, "answers")
    with scene.guest.dial(bench, 8080) as end:
        end.settimeout(LIMIT_S)
        end.sendall(request)
        assert end.recv(4096).startswith(b"HTTP/1.0 204")
    point.take_reports(8080, "is silent")
    with scene.guest.dial(bench, 8080) as end:
        end.sendall(request)
        end.settimeout(1.0)
        with pytest.raises(TimeoutError):
            end.recv(1)
        point.ask_status()
        point.take_reports(8080, "refuses")
    with pytest.raises(ConnectionRefusedError):
        scene.guest.dial(bench, 8080)
    booked = [(m.kind, m.text("manner") or m.text("path")) for m in scene.timeline.since() if m.kind in REPORTING]
    assert booked == [
        ("takes reports", "answers"),
        ("called", ""),
        ("report", "/vents"),
        ("takes reports", "is silent"),
        ("called", ""),
        ("takes reports", "refuses"),
    ]


@pytest.mark.parametrize("country", ["", "de", "DEU", "1A"])
def test_no_country_no_access_point(country: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="country"):
        HostAccessPoint(Timeline(Clock(1.0)), ["wlan0"], country, tmp_path)
