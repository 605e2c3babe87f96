"""The station role of a radio: scans, joins a network, keeps its address, and notices when the network is gone.

One attempt to join runs in the background, step by step: scan, authenticate, associate, handshake, lease. Each step has
a limit; the first that fails ends the attempt. Limits of single answers also have a floor in real seconds: a busy
machine must not look like a deaf network.
"""

import asyncio
import random
import time
from collections.abc import Callable
from dataclasses import dataclass

from hil.virtual.air import arp, frames
from hil.virtual.air.air_link import StationLink
from hil.virtual.air.dhcp import Lease, LeaseClient
from hil.virtual.air.frames import Frame, Kind, Reason, Status
from hil.virtual.air.handshake import Supplicant, pairwise_master_key
from hil.virtual.air.radio_records import FixedAddress, SeenNetwork, Value

_ROLE = "station"
CHANNELS = range(1, 14)
DWELL_S = 0.12
"""Unit seconds on each channel of a scan: a usual active dwell of such chips."""
_SETTLE_S = 0.05
"""Real seconds after a scan for answers still under way on a busy machine."""
_ANSWER_LIMIT_S, _ANSWER_FLOOR_S, _ANSWER_TRIES = 0.3, 0.25, 3
"""Unit seconds for an answer to one frame, its floor in real seconds, and tries."""
_HANDSHAKE_LIMIT_S, _HANDSHAKE_FLOOR_S = 10.0, 5.0
"""The station's own patience; the access point's ends first."""
_LEASE_FLOOR_S = 0.5
_LEASE_TRIES_S = (4.0, 8.0, 16.0, 32.0)
"""Waits before a message is repeated, each plus or minus up to 1 s (RFC 2131 4.1); after the last: no lease."""
_BEACONS_LOST_S, _BEACONS_LOST_FLOOR_S = 6.0, 0.5
_LOSS_PROBES = 5
"""6 s without a beacon, then five probe requests, then the network counts as gone: as a common chip's documents say."""
_KEEPALIVE_S = 10.0
_CHECK_S = 0.5

Emit = Callable[[str, dict[str, Value]], None]


class _JoinFailed(Exception):
    def __init__(self, why: str, reason: int | None = None) -> None:
        self.why, self.reason = why, reason
        super().__init__(why)


@dataclass
class _Joined:
    """The network we are in."""

    network: SeenNetwork
    supplicant: Supplicant | None
    heard_s: float
    signal_dbm: int


class Station:
    """The station role, from opening to closing of its radio."""

    def __init__(self, link: StationLink, emit: Emit, rng: random.Random) -> None:
        """Begin in no network."""
        self._link, self._emit, self._rng = link, emit, rng
        self._attempt: asyncio.Task[None] | None = None
        self._joined: _Joined | None = None
        self._frames: asyncio.Queue[Frame] = asyncio.Queue()
        self._dhcp: asyncio.Queue[bytes] = asyncio.Queue()
        self._seen: dict[tuple[bytes, bytes], SeenNetwork] | None = None
        self._scanning = asyncio.Lock()
        self._trying: SeenNetwork | None = None

    @property
    def signal_dbm(self) -> int | None:
        """Return the signal of our network as last heard."""
        return self._joined.signal_dbm if self._joined else None

    def stop(self) -> None:
        """Fall silent."""
        if self._attempt is not None:
            self._attempt.cancel()
            self._attempt = None
        self._trying = self._joined = None

    def join(
        self, ssid: bytes, passphrase: bytes | None, fixed: FixedAddress | None = None, bssid: bytes | None = None
    ) -> None:
        """Begin an attempt in the background, at one access point where it is given; leaves the present network first."""
        self.leave()
        self._attempt = asyncio.ensure_future(self._live(ssid, passphrase or None, fixed, bssid))

    def leave(self) -> None:
        """Say farewell to the network, if any, and end an attempt."""
        network = self._joined.network if self._joined else self._trying
        self.stop()
        if network is not None:
            self._link.claim(network.bssid, None)
            self._send_farewell(network.bssid, network.channel)
        self._link.tune(_ROLE, ())

    def _send_farewell(self, bssid: bytes, channel: int) -> None:
        own, sequence = self._link.address, self._link.next_sequence()
        goodbye = frames.farewell(Kind.DEAUTHENTICATION, bssid, own, bssid, sequence, Reason.LEAVING)
        self._link.send_frame(channel, goodbye)

    def take_frame(self, frame: Frame, channel: int, signal_dbm: int) -> None:
        """Act on a frame heard."""
        if frame.kind in (Kind.BEACON, Kind.PROBE_RESPONSE):
            self._take_offer(frame, channel, signal_dbm)
        elif self._joined is not None and frame.bssid == self._joined.network.bssid:
            self._take_in_network(frame, self._joined)
        elif self._trying is not None and frame.bssid == self._trying.bssid:
            self._frames.put_nowait(frame)

    def take_dhcp(self, payload: bytes) -> None:
        """Keep a DHCP message for whoever waits for one."""
        self._dhcp.put_nowait(payload)

    def _take_offer(self, frame: Frame, channel: int, signal_dbm: int) -> None:
        if self._joined is not None and frame.bssid == self._joined.network.bssid:
            self._joined.heard_s, self._joined.signal_dbm = time.monotonic(), signal_dbm
        if self._seen is None:
            return
        offer = frames.read_offer(frame.body)
        if offer is not None and offer.channel in (0, channel):
            security = frames.security_of(offer.rsn)
            network = SeenNetwork(offer.ssid, frame.bssid, channel, signal_dbm, security, offer.rsn)
            self._seen[frame.bssid, offer.ssid] = network

    def _take_in_network(self, frame: Frame, joined: _Joined) -> None:
        if frame.kind in (Kind.DEAUTHENTICATION, Kind.DISASSOCIATION):
            self._lose(frames.read_reason(frame.body))
            return
        packet = frames.read_eapol(frame.body) if frame.kind is Kind.DATA else None
        if packet is not None and joined.supplicant is not None:
            self._answer_key(packet, joined.supplicant, joined.network)

    def _lose(self, reason: int | None) -> None:
        """The network is gone, or does not want us."""
        joined = self._joined
        self.stop()
        self._link.tune(_ROLE, ())
        if joined is not None:
            self._link.claim(joined.network.bssid, None)
            self._emit("left", {"reason": reason})

    async def scan(self, ssid: bytes = b"") -> list[SeenNetwork]:
        """Listen and ask on each channel, for one network or (empty) for all; strongest first."""
        async with self._scanning:
            return await self._scan(ssid)

    async def _scan(self, ssid: bytes) -> list[SeenNetwork]:
        seen: dict[tuple[bytes, bytes], SeenNetwork] = {}
        self._seen = seen
        try:
            for channel in CHANNELS:
                # Channels passed stay tuned: an answer that is late by this machine's lag is still heard.
                self._link.tune("scan", range(1, channel + 1), "all")
                probe = frames.probe_request(self._link.address, self._link.next_sequence(), ssid)
                self._link.send_frame(channel, probe)
                await self._link.pause(DWELL_S)
            await asyncio.sleep(_SETTLE_S)
        finally:
            self._seen = None
            self._link.tune("scan", ())
        named = {network.bssid for network in seen.values() if network.ssid}
        found = [network for network in seen.values() if network.ssid or network.bssid not in named]
        return sorted(found, key=lambda network: -network.signal_dbm)

    async def _live(
        self, ssid: bytes, passphrase: bytes | None, fixed: FixedAddress | None, bssid: bytes | None
    ) -> None:
        """Join, take a lease or hold the fixed address, and stay until the network is lost."""
        try:
            network = await self._find(ssid, passphrase, bssid)
            joined = await self._enter(network, passphrase)
            self._emit("joined", self._joined_data(joined))
            watch = asyncio.ensure_future(self._watch(joined))
            try:
                await (self._live_leased(network.bssid) if fixed is None else self._live_fixed(fixed, network.bssid))
            finally:
                watch.cancel()
        except _JoinFailed as failed:
            self._attempt = None  # this very task: it ends by itself
            if failed.reason is None:
                self.leave()
            self.stop()
            self._link.tune(_ROLE, ())
            self._emit("join failed", {"reason": failed.reason, "why": failed.why})

    async def _live_leased(self, bssid: bytes) -> None:
        client = LeaseClient(self._link.address, self._rng)
        await self._keep_lease(client, await self._take_lease(client, bssid), bssid)

    async def _live_fixed(self, fixed: FixedAddress, bssid: bytes) -> None:
        """Announce the address and hold it for as long as the network is there."""
        self._link.claim(bssid, fixed.ip)
        packet = arp.Announcement(self._link.address, fixed.ip).pack()
        self._link.send_arp(bssid, packet)
        self._emit("addressed", {**vars(fixed)})
        for _ in range(arp.TRIES - 1):
            await self._link.pause(arp.INTERVAL_S)
            self._link.send_arp(bssid, packet)
        await asyncio.Event().wait()  # until the network is lost or left: this task is cancelled then

    @staticmethod
    def _joined_data(joined: _Joined) -> dict[str, Value]:
        network = joined.network
        return {
            "ssid": network.ssid,
            "bssid": network.bssid,
            "channel": network.channel,
            "signal_dbm": network.signal_dbm,
            "security": network.security,
        }

    async def _find(self, ssid: bytes, passphrase: bytes | None, bssid: bytes | None) -> SeenNetwork:
        """Return the strongest network of that name (of that BSSID); with a passphrase it must be one that takes WPA2."""
        for network in await self.scan(ssid):
            suites, protects = frames.read_rsn(network.rsn)
            secured_enough = passphrase is None or (frames.PSK_SUITE in suites and not protects)
            if network.ssid == ssid and secured_enough and bssid in (None, network.bssid):
                return network
        raise _JoinFailed("not found")

    async def _enter(self, network: SeenNetwork, passphrase: bytes | None) -> _Joined:
        """Authenticate, associate and shake hands."""
        self._frames, self._dhcp = asyncio.Queue(), asyncio.Queue()
        self._trying = network
        own, bssid = self._link.address, network.bssid
        self._link.tune(_ROLE, {network.channel}, bssid.hex())
        asked = frames.authentication(bssid, own, bssid, self._link.next_sequence(), 1)
        answer = await self._ask(network.channel, asked, Kind.AUTHENTICATION)
        if (frames.read_authentication(answer.body) or (0, 0, 1))[2] != Status.SUCCESS:
            raise _JoinFailed("refused")
        secured = passphrase is not None
        asked = frames.association_request(bssid, own, self._link.next_sequence(), network.ssid, secured=secured)
        answer = await self._ask(network.channel, asked, Kind.ASSOCIATION_RESPONSE)
        if frames.read_association_status(answer.body) != Status.SUCCESS:
            raise _JoinFailed("refused")
        supplicant = await self._shake_hands(network, passphrase) if passphrase else None
        self._trying = None
        self._joined = _Joined(network, supplicant, time.monotonic(), network.signal_dbm)
        return self._joined

    async def _ask(self, channel: int, frame: bytes, wanted: Kind) -> Frame:
        """Send a frame until its answer comes."""
        for _ in range(_ANSWER_TRIES):
            self._link.send_frame(channel, frame)
            try:
                async with asyncio.timeout(max(_ANSWER_LIMIT_S / self._link.speed, _ANSWER_FLOOR_S)):
                    return await self._next_frame(wanted)
            except TimeoutError:
                continue
        raise _JoinFailed("refused")

    async def _next_frame(self, wanted: Kind) -> Frame:
        """Wait for a frame of a kind; being sent away ends the attempt."""
        while True:
            frame = await self._frames.get()
            if frame.kind in (Kind.DEAUTHENTICATION, Kind.DISASSOCIATION):
                reason = frames.read_reason(frame.body)
                why = "wrong key" if reason == Reason.HANDSHAKE_TIMEOUT else "refused"
                raise _JoinFailed(why, reason)
            if frame.kind is wanted:
                return frame

    async def _shake_hands(self, network: SeenNetwork, passphrase: bytes) -> Supplicant:
        pmk = pairwise_master_key(passphrase, network.ssid)
        supplicant = Supplicant(pmk, network.bssid, self._link.address, self._rng, network.rsn)
        try:
            async with asyncio.timeout(max(_HANDSHAKE_LIMIT_S / self._link.speed, _HANDSHAKE_FLOOR_S)):
                while not supplicant.done:
                    packet = frames.read_eapol((await self._next_frame(Kind.DATA)).body)
                    if packet is not None:
                        self._answer_key(packet, supplicant, network)
        except TimeoutError:
            raise _JoinFailed("refused") from None
        return supplicant

    def _answer_key(self, packet: bytes, supplicant: Supplicant, network: SeenNetwork) -> None:
        answer = supplicant.receive(packet)
        if answer is not None:
            own, sequence = self._link.address, self._link.next_sequence()
            frame = frames.eapol_data(network.bssid, own, network.bssid, sequence, answer)
            self._link.send_frame(network.channel, frame)

    async def _take_lease(self, client: LeaseClient, bssid: bytes) -> Lease:
        """Ask for an address until one is given; the waits grow as RFC 2131 4.1 says."""
        began_s = time.monotonic()
        for wait_s in _LEASE_TRIES_S:
            elapsed_s = (time.monotonic() - began_s) * self._link.speed
            self._link.send_dhcp(bssid, client.ask(elapsed_s))
            limit_s = (wait_s + self._rng.uniform(-1.0, 1.0)) / self._link.speed
            lease = await self._await_lease(client, bssid, max(limit_s, _LEASE_FLOOR_S))
            if lease is not None:
                self._link.claim(bssid, lease.ip)
                self._emit("leased", {**vars(lease)})
                return lease
        raise _JoinFailed("no lease")

    async def _await_lease(self, client: LeaseClient, bssid: bytes, limit_s: float) -> Lease | None:
        """Answer the server until it gives a lease; limit in real seconds."""
        try:
            async with asyncio.timeout(limit_s):
                while True:
                    answer = client.receive(await self._dhcp.get())
                    if isinstance(answer, Lease):
                        return answer
                    if answer is not None:
                        self._link.send_dhcp(bssid, answer)
        except TimeoutError:
            return None

    async def _keep_lease(self, client: LeaseClient, lease: Lease, bssid: bytes) -> None:
        """Renew at half the lease, again at 0.875 of it (RFC 2131 4.4.5); without an answer the network is lost."""
        while True:
            await self._link.pause(lease.lease_s * 0.5)
            renewed: Lease | None = None
            for part in (0.375, 0.125):
                self._link.send_dhcp(bssid, client.renew(lease))
                renewed = await self._await_lease(client, bssid, lease.lease_s * part / self._link.speed)
                if renewed is not None:
                    break
            if renewed is None:
                asyncio.get_running_loop().call_soon(self._lose, None)
                return
            lease = renewed

    async def _watch(self, joined: _Joined) -> None:
        """Say now and then that we are here; notice when the beacons stay away."""
        next_keepalive_s = time.monotonic() + _KEEPALIVE_S / self._link.speed
        limit_s = max(_BEACONS_LOST_S / self._link.speed, _BEACONS_LOST_FLOOR_S)
        while True:
            await self._link.pause(_CHECK_S)
            if time.monotonic() >= next_keepalive_s:
                next_keepalive_s += _KEEPALIVE_S / self._link.speed
                bssid, sequence = joined.network.bssid, self._link.next_sequence()
                self._link.send_frame(joined.network.channel, frames.null_data(bssid, self._link.address, sequence))
            if time.monotonic() - joined.heard_s > limit_s and not await self._still_there(joined):
                self._lose(None)
                return

    async def _still_there(self, joined: _Joined) -> bool:
        """Ask the network directly, five times."""
        before_s = joined.heard_s
        for _ in range(_LOSS_PROBES):
            probe = frames.probe_request(self._link.address, self._link.next_sequence(), joined.network.ssid)
            self._link.send_frame(joined.network.channel, probe)
            await self._link.pause(DWELL_S)
            if joined.heard_s > before_s:
                return True
        return False
