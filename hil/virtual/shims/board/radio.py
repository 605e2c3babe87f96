"""The radio of a real board: the `network` module, its states turned into events. Untested on hardware.

Events are dictionaries with `event`: "joined" (with `bssid` and `channel`), "leased" (with `ip`), "addressed" (with
`ip`, in place of "leased" where it is fixed), "join failed" (with `why`) and "left".
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
_fixed = None


class Broken(Exception):
    """The radio does not take orders."""


def join(ssid, key, fixed=None, bssid=None):
    """Begin one attempt to join; without key when it is empty; `fixed` is address, netmask and gateway, or None for a lease.

    The radio takes the strongest network of that name, with a key the strongest secured one; or the one of `bssid`.
    """
    global _attempting, _fixed
    _fixed = fixed
    try:
        _station.active(True)
        # the gateway is the name server, too; "dhcp" undoes an address set before
        _station.ifconfig(fixed + fixed[2:] if fixed else "dhcp")
        _station.config(reconnects=0)
        _station.connect(ssid, key or None, bssid=bssid or _strongest(ssid, key))
    except OSError as error:
        raise Broken(str(error))
    _attempting = True


def _strongest(ssid, key):
    """Return whom to join: this port would take the first one it finds. None where none is seen: it may be hidden."""
    found = [one for one in _station.scan() if one[0] == ssid and (not key or one[4])]
    return max(found, key=lambda one: one[3])[1] if found else None


def leave():
    """Leave the network, or stop the attempt."""
    global _attempting, _in_network
    _attempting = _in_network = False
    _station.disconnect()


def host(ssid, key, channel, ip, lease_delay_s=0.0, name_server=True):
    """Open a hotspot with WPA2, this address, and leases in its network; these cannot be otherwise here."""
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
    """Return the networks in the air: lists of name (octets), channel, dBm, security and BSSID."""
    return [(found[0], found[2], found[3], _SECURITIES.get(found[4], "wpa2"), found[1]) for found in _station.scan()]


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
        _tell(event="joined", bssid=None, channel=_station.config("channel"))
        _tell(event="addressed" if _fixed else "leased", ip=_station.ifconfig()[0])
    elif _in_network and not connected:
        _in_network = False
        _tell(event="left", reason=None)
    elif _attempting and _station.status() in _FAILURES:
        _attempting = False
        _tell(event="join failed", why=_FAILURES[_station.status()])


def _tell(**event):
    _events.append(event)
    _event_came.set()
