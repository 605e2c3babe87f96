"""The radio of a real board: the `network` module, its states turned into events. Untested on hardware.

Events are dictionaries with `event`: "joined", "leased" (with `ip`), "join failed"
(with `why`) and "left".
"""

import asyncio

import network

LOOK_EVERY_S = 0.1

_FAILURES = {
    network.STAT_NO_AP_FOUND: "not found",
    network.STAT_WRONG_PASSWORD: "wrong key",
    network.STAT_HANDSHAKE_TIMEOUT: "wrong key",
    network.STAT_ASSOC_FAIL: "refused",
}
_SECURITIES = {0: "open"}

_station = network.WLAN(network.STA_IF)
_hotspot = network.WLAN(network.AP_IF)
_events = []
_event_came = asyncio.Event()
_attempting = False
_in_network = False


class Broken(Exception):
    """The radio does not take orders."""


def join(ssid, key):
    """Begin one attempt to join; without key when it is empty."""
    global _attempting
    try:
        _station.active(True)
        _station.config(reconnects=0)
        _station.connect(ssid, key or None)
    except OSError as error:
        raise Broken(str(error))
    _attempting = True


def leave():
    """Leave the network, or stop the attempt."""
    global _attempting, _in_network
    _attempting = _in_network = False
    _station.disconnect()


def host(ssid, key, channel, ip, lease_delay_s=0.0):
    """Open a hotspot with WPA2, this address, and leases in its network; these cannot be delayed here."""
    try:
        _hotspot.active(True)
        _hotspot.config(ssid=ssid, key=key, security=network.AUTH_WPA2_PSK, channel=channel)
        _hotspot.ifconfig((ip, "255.255.255.0", ip, ip))
    except OSError as error:
        raise Broken(str(error))


def unhost():
    """Close the hotspot."""
    _hotspot.active(False)


def guests():
    """Return how many stations are on the hotspot."""
    return len(_hotspot.status("stations"))


def signal():
    """Return how strongly the network is heard, in dBm; None when in no network."""
    return _station.status("rssi") if _station.isconnected() else None


async def scan():
    """Return the networks in the air: lists of name (octets), channel, dBm and security."""
    return [(found[0], found[2], found[3], _SECURITIES.get(found[4], "wpa2")) for found in _station.scan()]


async def next_event(limit_s):
    """Return the next event, None when none came in time."""
    if not _events and limit_s > 0:
        _event_came.clear()
        try:
            await asyncio.wait_for(_event_came.wait(), limit_s)
        except asyncio.TimeoutError:
            pass
    return _events.pop(0) if _events else None


def forget_events():
    """Drop the events nobody has taken."""
    _events.clear()


async def watch():
    """Look at the station's state again and again, for ever."""
    while True:
        _look()
        await asyncio.sleep(LOOK_EVERY_S)


def _look():
    global _attempting, _in_network
    connected = _station.active() and _station.isconnected()
    if connected and not _in_network:
        _attempting, _in_network = False, True
        _tell(event="joined")
        _tell(event="leased", ip=_station.ifconfig()[0])
    elif _in_network and not connected:
        _in_network = False
        _tell(event="left", reason=None)
    elif _attempting and _station.status() in _FAILURES:
        _attempting = False
        _tell(event="join failed", why=_FAILURES[_station.status()])


def _tell(**event):
    _events.append(event)
    _event_came.set()
