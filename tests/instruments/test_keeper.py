"""The keeper refuses whatever is not on its list: each request with each argument wrong, and says so without doing anything.

Held against the words of the list itself, the kernel's limit of an interface's name (linux/if.h, IFNAMSIZ), IEEE 802.11-2020 for
names and keys of networks, and Python's own ipaddress for addresses. What it does when it is asked well is the lab's to show.
"""

import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

from hil.core.errors import BenchError, InputError
from hil.instruments.keeper import asked, client
from hil.instruments.keeper.asked import Refused, read
from hil.instruments.keeper.daemons import network_settings
from hil.instruments.keeper.pack import write_keeper
from hil.instruments.keeper.serve import serve
from hil.instruments.keeper.wire import LONGEST, Message, receive, send
from hil.instruments.network_plan import LONGEST_DELAY_S, NetworkPlan
from hil.instruments.network_words import KeyManagement, ProtectedFrames, RadioMode

LIMIT_S = 20.0
ROOM = {"room": 1, "interface": "wlan0"}
SECURED = {
    "name": "6d6f7373",
    "key": "leaf and stem",
    "key_management": "wpa2 and wpa3",
    "protected_frames": "optional",
}
NETWORK = {**SECURED, "channel": 6, "mode": "n", "hidden": False, "country": "DE", "bridged": True}
LEASES = {"first": "198.51.100.10", "last": "198.51.100.20", "netmask": "255.255.255.0", "lease_s": 120, "delay_s": 0}
GOOD: dict[str, dict[str, object]] = {
    "OpenRoom": {"radios": ["wlan0", "wlx00c0caab1234"]},
    "CloseRoom": {"room": 1},
    "MakeSocket": {"room": 1, "kind": "stream"},
    "HearPackets": {**ROOM, "interface": "hil-br"},
    "SetLink": {**ROOM, "up": True},
    "Flush": ROOM,
    "MakeBridge": {"room": 1, "address": "198.51.100.1/24"},
    "Monitor": {**ROOM, "channel": 11},
    "Impair": {**ROOM, "delay_ms": 150, "loss": 0.25},
    "Network": {**ROOM, **NETWORK},
    "Station": ROOM,
    "LeaseServer": {**ROOM, **LEASES, "name_server": None},
    "LeaseClient": ROOM,
    "EndDaemon": {"daemon": 1},
}
NO_INTERFACE = ["", "-a", "wlan0;id", "../wlan0", "wlan 0", "wlan0\n", "a" * 16, "wlan0/", "Ünt", 5, None, ["wlan0"]]
NO_NUMBER = [0, -1, True, 1.5, "1", None, 1 << 40]
NO_FLAG = [0, 1, "yes", None]
NO_WORD = ["", "wpa", 2, None, True, ["g"], {"wpa3": 1}]
NO_ADDRESS = ["", "198.51.100.256", "198.51.100", "198.51.100.1 ", "::1", "a,b", 5, "198.51.100.1,--script=x"]
WRONG: dict[str, list[object]] = {
    "radios": [[], "wlan0", ["wlan0"] * 2, ["wlan0", "x y"], [f"wlan{n}" for n in range(5)], None, [["wlan0"]]],
    "room": NO_NUMBER,
    "daemon": NO_NUMBER,
    "interface": NO_INTERFACE,
    "kind": ["raw", "", None, ["stream"]],
    "up": NO_FLAG,
    "hidden": NO_FLAG,
    "bridged": NO_FLAG,
    "address": ["198.51.100.1", "198.51.100.1/33", "198.51.100.1/24 dev lo", "", None, 5, "::1/64"],
    "channel": [0, 15, 6.0, "6", True, None],
    "delay_ms": [-1, 60_001, 150.0, "150", "150ms", True, None],
    "loss": [-0.1, 1, 1.0, 25, "0.25", "25%", True, None, float("nan"), float("inf")],
    "key_management": [*NO_WORD, "WPA-PSK", "wpa2 and", "wpa2\nbridge=eth0"],
    "protected_frames": [*NO_WORD, "0", "Off", "optional\nbridge=eth0"],
    "mode": [*NO_WORD, "a", "ac", "bg", "g\nbridge=eth0"],
    "name": ["", "6", "zz", "6d" * 33, "moss", None, 5],
    "key": [
        "",
        "1234567",
        "g" * 64,
        "leaf\nbridge=eth0",
        "leaf\0leaf",
        "leaf\x7fleaf",
        "\ud800leafleaf",
        "é" * 32,
        5,
        [],
    ],
    "country": ["de", "DEU", "D", None, "D\n", 5],
    "first": NO_ADDRESS,
    "last": NO_ADDRESS,
    "netmask": NO_ADDRESS,
    "lease_s": [0, 86_401, "120", 1.5, None],
    "delay_s": [-1, 601, "1", None],
    "name_server": [address for address in NO_ADDRESS if address != ""],
}
CASES = [(what, key, value) for what, arguments in GOOD.items() for key in arguments for value in WRONG[key]]


def test_the_list_is_what_is_tried_here() -> None:
    assert set(GOOD) == set(asked.KINDS)
    assert {key for arguments in GOOD.values() for key in arguments} == set(asked.CHECKS) == set(WRONG)


@pytest.mark.parametrize("what", GOOD)
def test_what_is_asked_well_is_taken(what: str) -> None:
    assert type(read({"asked": what, **GOOD[what]})).__name__ == what


@pytest.mark.parametrize(("what", "key", "value"), CASES)
def test_each_argument_that_cannot_be_is_refused(what: str, key: str, value: object) -> None:
    with pytest.raises(Refused, match=key):
        read({"asked": what, **GOOD[what], key: value})


@pytest.mark.parametrize("what", GOOD)
def test_an_argument_too_few_or_too_many_is_refused(what: str) -> None:
    with pytest.raises(Refused, match="takes"):
        read({"asked": what, **GOOD[what], "more": 1})
    for key in GOOD[what]:
        with pytest.raises(Refused, match="takes"):
            read({"asked": what, **{name: value for name, value in GOOD[what].items() if name != key}})


@pytest.mark.parametrize("what", ["", "run", "Asked", "openroom", "__class__", None, 1, ["OpenRoom"]])
def test_what_is_not_on_the_list_is_refused(what: object) -> None:
    with pytest.raises(Refused, match="cannot be asked for"):
        read({"asked": what})


@pytest.mark.parametrize("key", ["leaf & stem, 1", "8 octets", "é" * 31, "0123456789abcdefABCDEF0123456789" * 2, None])
def test_keys_as_people_have_them_are_taken(key: str | None) -> None:
    network = read({"asked": "Network", **ROOM, **NETWORK, "key": key})
    assert isinstance(network, asked.Network)
    assert network.key == key


WORDS = [
    ("key_management", KeyManagement),
    ("protected_frames", ProtectedFrames),
    ("mode", RadioMode),
]


@pytest.mark.parametrize(("key", "word"), [(key, word) for key, words in WORDS for word in get_args(words)])
def test_all_words_of_a_plan_are_taken_and_settings_told_for_them(key: str, word: str) -> None:
    """Each setting stays on its own line, whatever the words."""
    network = read({"asked": "Network", **ROOM, **NETWORK, key: word})
    assert isinstance(network, asked.Network)
    assert getattr(network, key) == word
    assert all("\n" not in f"{name}{value}" for name, value in network_settings(network, Path("/run/x")).items())


@pytest.mark.parametrize(("delay_s", "loss"), [(0.0, 0.0), (0.02, 0.0), (LONGEST_DELAY_S, 0.999)])
def test_whatever_a_plan_delays_and_loses_is_taken(delay_s: float, loss: float) -> None:
    plan = NetworkPlan("moss", None, 6, delay_s=delay_s, loss=loss)
    impaired = read({"asked": "Impair", **ROOM, "delay_ms": round(plan.delay_s * 1000.0), "loss": plan.loss})
    assert impaired == asked.Impair(1, "wlan0", round(delay_s * 1000.0), loss)


# By the comments of hostapd.conf as hostapd 2.10 brings it.
BY_WORDS: list[tuple[dict[str, object], dict[str, str]]] = [
    ({"key": None}, {"hw_mode": "g"}),
    ({"key_management": "wpa2", "protected_frames": "off"}, {"wpa_key_mgmt": "WPA-PSK", "ieee80211w": "0"}),
    ({"key_management": "wpa2 and wpa3"}, {"wpa_key_mgmt": "WPA-PSK SAE", "ieee80211w": "1", "sae_require_mfp": "1"}),
    ({"key_management": "wpa3", "protected_frames": "required"}, {"wpa_key_mgmt": "SAE", "ieee80211w": "2"}),
    ({"mode": "b"}, {"hw_mode": "b"}),
    ({"mode": "n"}, {"hw_mode": "g", "ieee80211n": "1", "wmm_enabled": "1"}),
    ({"key": "0123456789abcdef" * 4}, {"wpa_psk": "0123456789abcdef" * 4}),
]


@pytest.mark.parametrize(("change", "settings"), BY_WORDS)
def test_what_hostapd_is_told(change: dict[str, object], settings: dict[str, str]) -> None:
    network = read({"asked": "Network", **ROOM, **NETWORK, **change})
    assert isinstance(network, asked.Network)
    told = network_settings(network, Path("/run/x"))
    assert told.items() >= settings.items()
    assert ("wpa" in told) == (network.key is not None)


@pytest.fixture
def end() -> Iterator[socket.socket]:
    """The other end of a keeper in a thread of this process, which may not more than this process."""
    own, others = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    own.settimeout(LIMIT_S)
    thread = threading.Thread(target=serve, args=(others,))
    thread.start()
    with own, others:
        yield own
        own.close()
        thread.join(LIMIT_S)
    assert not thread.is_alive()


def answered(end: socket.socket) -> Message:
    came = receive(end)
    assert came is not None
    assert came[1] == []
    return came[0]


NO_REQUESTS = [b"{", b"[]", b"5", b"\xff", b'"OpenRoom"', b"[" * 3000, b'{"asked": "OpenRoom"}']
TOO_LONG = b'{"asked": "EndDaemon", "daemon": 1}' + b" " * LONGEST


@pytest.mark.parametrize("octets", [*NO_REQUESTS, TOO_LONG])
def test_what_is_no_request_is_refused_and_the_next_is_answered(end: socket.socket, octets: bytes) -> None:
    end.send(octets)
    assert "refused" in answered(end)
    send(end, {"asked": "EndDaemon", "daemon": 7})
    assert answered(end) == {"refused": "there is no daemon 7"}


@pytest.mark.parametrize("what", [what for what, arguments in GOOD.items() if "room" in arguments])
def test_a_room_that_is_not_there_is_refused(end: socket.socket, what: str) -> None:
    files = [0] if what in {kind.__name__ for kind in asked.WITH_LOG} else []
    send(end, {"asked": what, **GOOD[what]}, files)
    assert answered(end) == {"refused": "there is no room 1"}


def test_files_that_are_not_wanted_are_refused_and_closed(end: socket.socket) -> None:
    reads, writes = os.pipe()
    with os.fdopen(reads, "rb", buffering=0) as told:
        send(end, {"asked": "CloseRoom", "room": 1}, [writes])
        os.close(writes)
        assert answered(end) == {"refused": "1 files came along, 0 are wanted"}
        assert told.read() == b""  # the keeper's end was the last one
    send(end, {"asked": "Network", **GOOD["Network"]})
    assert answered(end) == {"refused": "0 files came along, 1 are wanted"}


def test_the_packed_keeper_needs_nothing_of_ours_and_is_not_started_by_hand(tmp_path: Path) -> None:
    keeper = tmp_path / "hil-keeper"
    write_keeper(keeper)
    words = [sys.executable, "-I", "-S", str(keeper)]
    done = subprocess.run(words, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "hil-keeper: its standard input is no socket: it is started by hil, not by hand.\n"


def test_the_packed_keeper_answers(tmp_path: Path) -> None:
    keeper = tmp_path / "hil-keeper"
    write_keeper(keeper)
    own, others = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    own.settimeout(LIMIT_S)
    with own, others, subprocess.Popen([sys.executable, "-I", "-S", str(keeper)], stdin=others.fileno()) as process:
        send(own, {"asked": "EndDaemon", "daemon": 3})
        assert answered(own) == {"refused": "there is no daemon 3"}
        others.close()
        own.close()
        assert process.wait(LIMIT_S) == 0


@pytest.mark.skipif(
    os.geteuid() != 0 or not client.has_rights(), reason="only root with the three rights can become such a one"
)
def test_started_by_root_for_a_user_it_has_three_rights_and_no_way_to_others(tmp_path: Path) -> None:
    """The kernel's own word: /proc/PID/status, with the numbers of linux/capability.h (proc(5))."""
    keeper = tmp_path / "hil-keeper"
    write_keeper(keeper)
    three = f"{1 << 12 | 1 << 13 | 1 << 21:016x}"  # CAP_NET_ADMIN, CAP_NET_RAW, CAP_SYS_ADMIN
    own, others = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    own.settimeout(LIMIT_S)
    words, environment = [sys.executable, "-I", "-S", str(keeper)], {"SUDO_UID": "65534", "SUDO_GID": "65534"}
    with own, others, subprocess.Popen(words, stdin=others.fileno(), env=environment) as process:
        send(own, {"asked": "EndDaemon", "daemon": 3})
        answered(own)
        told = dict(
            line.split(":\t", 1)
            for line in Path(f"/proc/{process.pid}/status").read_text().splitlines()
            if ":\t" in line
        )
        own.close()
        others.close()
    assert told["Uid"].split() == told["Gid"].split() == ["65534"] * 4
    assert told["Groups"].split() == []
    assert {told[f"Cap{kind}"] for kind in ("Prm", "Eff", "Inh", "Bnd", "Amb")} == {three}
    assert told["NoNewPrivs"] == "1"


def test_a_keeper_that_cannot_be_started_is_told_with_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(client, "_words", lambda: ["/no/such/keeper"])
    with pytest.raises(BenchError, match=r"keeper: cannot be started.*README"):
        client.Keeper().want()


def test_a_keeper_that_ended_is_told_with_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """As `sudo` does where it refuses."""
    monkeypatch.setattr(client, "_words", lambda: [sys.executable, "-c", ""])
    keeper = client.Keeper()
    keeper.want()
    for told in (r"keeper: (ended|gives no answer).*README", "keeper: is gone"):
        with pytest.raises(BenchError, match=told):
            keeper.ask("CloseRoom", room=1)
    keeper.spare()


def test_what_the_keeper_refuses_is_wrong_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(client, "_words", lambda: [sys.executable, "-I", "-m", client.SERVE])
    keeper = client.Keeper()
    keeper.want()
    with pytest.raises(InputError, match="refuses CloseRoom: there is no room 5"):
        keeper.ask("CloseRoom", room=5)
    keeper.spare()
    with pytest.raises(BenchError, match="is gone"):
        keeper.ask("CloseRoom", room=5)
