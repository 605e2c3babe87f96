"""The radio of a virtual unit: joining a network, opening a hotspot, and what comes of it.

Events are dictionaries with `event`: "joined" (with `bssid` and `channel`), "leased" (with `ip`), "addressed" (with
`ip`, in place of "leased" where it is fixed), "join failed" (with `why`) and "left".
"""

from binascii import hexlify, unhexlify

import link
from link import forget_events, next_event

SCAN_LIMIT_S = 15.0


class Broken(Exception):
    """The radio does not take orders."""


def _order(**order):
    try:
        return link.ask(**order)
    except OSError as error:
        raise Broken(str(error))


def _hex(octets):
    return hexlify(octets).decode()


def join(ssid, key, fixed=None, bssid=None):
    """Begin one attempt to join; without key when it is empty; `fixed` is address, netmask and gateway, or None for a lease.

    The radio takes the strongest network of that name, with a key the strongest secured one; or the one of `bssid`.
    """
    plan = {"ip": fixed[0], "mask": fixed[1], "router": fixed[2]} if fixed else {}
    if bssid:
        plan["bssid"] = bssid
    _order(op="join", ssid=_hex(ssid), key=_hex(key.encode()), **plan)


def leave():
    """Leave the network, or stop the attempt."""
    _order(op="leave")


def host(ssid, key, channel, ip, lease_delay_s=0.0, name_server=True):
    """Open a hotspot with WPA2, this address, and leases in its network; they tell it as router and as name server."""
    plan = {"ssid": _hex(ssid), "key": _hex(key.encode()), "channel": channel, "ip": ip}
    if not name_server:
        plan["no_name_server"] = True
    _order(op="host", lease_delay_s=lease_delay_s, **plan)


def unhost():
    """Close the hotspot."""
    _order(op="unhost")


def guests():
    """Return how many stations are on the hotspot."""
    try:
        return link.ask(op="guests").get("count", 0)
    except OSError:
        return 0


def signal():
    """Return how strongly the network is heard, in dBm; None when in no network."""
    try:
        return link.ask(op="signal").get("dbm")
    except OSError:
        return None


async def scan():
    """Return the networks in the air: lists of name (octets), channel, dBm, security and BSSID."""
    answer = await link.ask_later(SCAN_LIMIT_S, op="scan")
    return [(unhexlify(n["ssid"]), n["channel"], n["signal"], n["security"], n["bssid"]) for n in answer["networks"]]


async def watch():
    """Gather events, for ever."""
    await link.listen()
