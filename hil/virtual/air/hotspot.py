"""The access point role of a radio: beacons, answers, admits stations, gives addresses.

Stations go through the states of IEEE 802.11-2020 11.3: authenticated, associated, and (with a handshake done, or on an
open network) member. Authenticating again begins anew whatever the state was: a board that was reset knows nothing of
its old association.
"""

import asyncio
import random
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass

from hil.virtual.air import arp, dhcp, frames
from hil.virtual.air.air_link import StationLink
from hil.virtual.air.frames import Frame, Kind, Reason, Status
from hil.virtual.air.handshake import Authenticator, pairwise_master_key
from hil.virtual.air.radio_records import HotspotPlan, Value

_ROLE = "hotspot"
HANDSHAKE_LIMIT_S = 1.0
"""Unit seconds until a handshake without a right answer is given up."""
_HANDSHAKE_TRIES = 4
"""Common practice of access points: four tries of a handshake message."""
_SILENT_HANDSHAKE_S = 1.0
"""Real seconds a station that has not answered at all gets in any case: a busy machine is no wrong key."""
_INACTIVITY_LIMIT_S = 300.0
"""Unit seconds; the usual default of access points, from memory."""

Emit = Callable[[str, dict[str, Value]], None]


@dataclass
class Guest:
    """A station known to the access point."""

    number: int
    heard_s: float
    associated: bool = False
    member: bool = False
    authenticator: Authenticator | None = None
    handshake: asyncio.Task[None] | None = None
    ip: str | None = None

    def stop(self) -> None:
        """End a handshake under way."""
        if self.handshake is not None:
            self.handshake.cancel()


class Hotspot:
    """One access point, from `start` to `stop`."""

    def __init__(self, plan: HotspotPlan, link: StationLink, emit: Emit, rng: random.Random) -> None:
        """Prepare; keys are derived here."""
        self.plan, self._link, self._emit, self._rng = plan, link, emit, rng
        self._pmk = pairwise_master_key(plan.passphrase, plan.ssid) if plan.passphrase else None
        self._rsn = frames.rsn(plan.key_management, plan.protected_frames) if plan.passphrase else b""
        self._group_key = rng.randbytes(16)
        self._leases = dhcp.LeaseServer(
            plan.ip, plan.lease_s, refuses=plan.refuses_leases, tells_name_server=plan.tells_name_server
        )
        self._guests: dict[bytes, Guest] = {}
        self._timers: set[asyncio.TimerHandle] = set()
        self._began_s = 0.0
        self._beacon = bytearray()

    @property
    def members(self) -> dict[bytes, str | None]:
        """Return the IP address (or None) of each member."""
        return {address: guest.ip for address, guest in self._guests.items() if guest.member}

    def start(self) -> None:
        """Go on the air."""
        address = self._link.address
        self._began_s = time.monotonic()
        offer = self._offer(b"" if self.plan.hidden else self.plan.ssid)
        self._beacon = bytearray(frames.beacon(address, 0, offer))
        self._link.tune(_ROLE, {self.plan.channel})
        self._link.send_weaker(self.plan.weaker_by_db)
        self._link.send_impaired(self.plan.delay_s, self.plan.loss)
        self._link.admit(address, self.plan.ip)
        self._link.claim(address, self.plan.ip)
        self._send_beacon(0)
        self._later(_INACTIVITY_LIMIT_S / 10, self._drop_inactive)

    def stop(self, *, farewell: bool) -> None:
        """Go off the air, with a broadcast deauthentication if a farewell is wanted."""
        for timer in self._timers:
            timer.cancel()
        for guest in self._guests.values():
            guest.stop()
        if farewell:
            self._dismiss(frames.BROADCAST, Reason.LEAVING)
        self._link.tune(_ROLE, ())
        self._link.claim(self._link.address, None)
        self._link.end_network()

    def take_frame(self, frame: Frame) -> None:
        """Act on a frame sent to this access point, or to all."""
        if frame.sender in self._guests:
            self._guests[frame.sender].heard_s = time.monotonic()
        match frame.kind:
            case Kind.PROBE_REQUEST:
                self._answer_probe(frame)
            case Kind.AUTHENTICATION:
                self._authenticate(frame)
            case Kind.ASSOCIATION_REQUEST:
                self._associate(frame)
            case Kind.DEAUTHENTICATION | Kind.DISASSOCIATION:
                self._remove(frame.sender, frames.read_reason(frame.body))
            case Kind.DATA | Kind.NULL_DATA:
                self._take_data(frame)
            case _:
                pass

    def _later(self, unit_s: float, call: Callable[[], None]) -> None:
        """Call after unit seconds, unless stopped."""
        loop = asyncio.get_running_loop()

        def run() -> None:
            self._timers.discard(timer)
            call()

        timer = loop.call_later(unit_s / self._link.speed, run)
        self._timers.add(timer)

    def _now_us(self) -> int:
        return int((time.monotonic() - self._began_s) * self._link.speed * 1e6)

    def _offer(self, ssid: bytes) -> frames.Offer:
        plan = self.plan
        return frames.Offer(ssid, plan.channel, self._rsn, plan.beacon_interval_tu, self._now_us(), plan.mode)

    def _send_beacon(self, number: int) -> None:
        """Send beacon `number` and set the clock for the next one whose time has not passed."""
        now_us = self._now_us()
        struct.pack_into("<H", self._beacon, frames.SEQUENCE_AT, self._link.next_sequence() << 4)
        struct.pack_into("<Q", self._beacon, frames.TIMESTAMP_AT, now_us)
        self._link.send_frame(self.plan.channel, self._beacon)
        interval_us = self.plan.beacon_interval_tu * frames.TU_US
        following = max(number + 1, now_us // interval_us + 1)
        wait_s = (following * interval_us - now_us) / 1e6
        self._later(wait_s, lambda: self._send_beacon(following))

    def _answer_probe(self, frame: Frame) -> None:
        asked = frames.find_element(frame.body, frames.SSID_ELEMENT)
        if asked is None or (asked == b"" and self.plan.hidden) or asked not in (b"", self.plan.ssid):
            return
        offer = self._offer(self.plan.ssid)
        answer = frames.probe_response(self._link.address, frame.sender, self._link.next_sequence(), offer)
        self._link.send_frame(self.plan.channel, answer)

    def _authenticate(self, frame: Frame) -> None:
        asked = frames.read_authentication(frame.body)
        if asked is None or asked[1] != 1:
            return
        status = Status.SUCCESS if asked[0] == 0 else Status.ALGORITHM_NOT_SUPPORTED
        if status is Status.SUCCESS:
            self._forget(frame.sender)
            self._guests[frame.sender] = Guest(self._free_number(), time.monotonic())
        own = self._link.address
        sequence = self._link.next_sequence()
        answer = frames.authentication(frame.sender, own, own, sequence, 2, status)
        self._link.send_frame(self.plan.channel, answer)

    def _free_number(self) -> int:
        used = {guest.number for guest in self._guests.values()}
        return next(number for number in range(1, 2008) if number not in used)

    def _associate(self, frame: Frame) -> None:
        guest = self._guests.get(frame.sender)
        if guest is None:
            self._dismiss(frame.sender, Reason.NOT_ASSOCIATED)
            return
        status = self._judge_association(frame.body[4:])
        answer = frames.association_response(
            frame.sender, self._link.address, self._link.next_sequence(), status, guest.number
        )
        self._link.send_frame(self.plan.channel, answer)
        if status is not Status.SUCCESS:
            return
        guest.stop()
        guest.associated = True
        if self._pmk is None:
            self._admit(frame.sender, guest)
        else:
            guest.handshake = asyncio.ensure_future(self._shake_hands(frame.sender, guest, self._pmk))

    def _judge_association(self, body: bytes) -> Status:
        if frames.find_element(body, frames.SSID_ELEMENT) != self.plan.ssid:
            return Status.UNSPECIFIED
        security = frames.find_element(body, frames.RSN_ELEMENT)
        if security != (frames.RSN_PSK_CCMP if self._rsn else None):
            return Status.INVALID_ELEMENT
        suites, protects = frames.read_rsn(self._rsn)
        if self._rsn and frames.PSK_SUITE not in suites:
            return Status.INVALID_KEY_MANAGEMENT
        return Status.FRAMES_NOT_PROTECTED if protects else Status.SUCCESS

    async def _shake_hands(self, station: bytes, guest: Guest, pmk: bytes) -> None:
        """Send messages until the station has proved its key, or patience ends."""
        side = Authenticator(pmk, self._link.address, station, self._group_key, self._rng, self._rsn)
        guest.authenticator = side
        began_s = sent_s = time.monotonic()
        self._send_key(station, side.next_message())
        while not self._patience_ends(time.monotonic() - began_s, side):
            await self._link.pause(HANDSHAKE_LIMIT_S / _HANDSHAKE_TRIES)
            if side.doubted or time.monotonic() - sent_s > _SILENT_HANDSHAKE_S / _HANDSHAKE_TRIES:
                sent_s = time.monotonic()
                self._send_key(station, side.next_message())
        guest.handshake = None
        self._forget(station)
        self._dismiss(station, Reason.HANDSHAKE_TIMEOUT)
        kind = "wrong key" if side.doubted else "station left"
        self._emit(kind, {"address": station, "reason": int(Reason.HANDSHAKE_TIMEOUT)})

    def _patience_ends(self, waited_s: float, side: Authenticator) -> bool:
        limit_s = HANDSHAKE_LIMIT_S / self._link.speed
        return waited_s >= (limit_s if side.doubted else max(limit_s, _SILENT_HANDSHAKE_S))

    def _send_key(self, station: bytes, packet: bytes) -> None:
        own = self._link.address
        self._link.send_frame(
            self.plan.channel, frames.eapol_data(station, own, own, self._link.next_sequence(), packet)
        )

    def _take_data(self, frame: Frame) -> None:
        guest = self._guests.get(frame.sender)
        packet = frames.read_eapol(frame.body)
        if packet is None:
            if guest is None or not guest.associated:
                self._dismiss(frame.sender, Reason.NOT_ASSOCIATED)
            return
        # A late message of a handshake given up is dropped: its station has had its answer.
        if guest is None or guest.authenticator is None or not guest.authenticator.receive(packet):
            return
        side = guest.authenticator
        if side.done:
            guest.stop()
            self._admit(frame.sender, guest)
        else:
            self._send_key(frame.sender, side.next_message())

    def _admit(self, station: bytes, guest: Guest) -> None:
        guest.member = True
        self._emit("station joined", {"address": station})

    def take_dhcp(self, payload: bytes) -> None:
        """Serve a DHCP message of a member."""
        message = dhcp.parse(payload)
        if message is None:
            return
        guest = self._guests.get(message.hardware)
        if guest is None or not guest.associated:
            self._dismiss(message.hardware, Reason.NOT_ASSOCIATED)
            return
        if not guest.member:
            return  # data before the handshake's end is dropped without a word
        self._emit("lease asked", {"address": message.hardware, "message": message.type.name.lower()})
        if self.plan.lease_delay_s is None:
            return
        # Once a slow server has made its offer, the ack follows at once.
        after_offer = dhcp.Type.REQUEST is message.type and message.ip_option(dhcp.SERVER_OPTION) is not None
        delay_s = 0.0 if after_offer else self.plan.lease_delay_s
        self._later(delay_s, lambda: self._answer_dhcp(message))

    def _answer_dhcp(self, message: dhcp.Message) -> None:
        guest = self._guests.get(message.hardware)
        answer = self._leases.answer(message)
        if guest is None or not guest.member or answer is None:
            return
        if answer.type is dhcp.Type.ACK:
            guest.ip = answer.yours
            self._link.admit(message.hardware, answer.yours)
        self._link.send_dhcp(message.hardware, answer.pack())
        if answer.type is dhcp.Type.ACK:
            self._emit("leased", {"address": message.hardware, "ip": answer.yours})

    def take_arp(self, packet: bytes) -> None:
        """Note the address a member announces; beyond this network, or where it is ours, nothing leads to it."""
        announced = arp.read_announcement(packet)
        guest = self._guests.get(announced.hardware) if announced else None
        if announced is None or guest is None or not guest.member:
            return
        if self._leases.is_free_for(announced.hardware, announced.ip):
            guest.ip = announced.ip
            self._link.admit(announced.hardware, announced.ip)
        self._emit("announced", {"address": announced.hardware, "ip": announced.ip})

    def _forget(self, station: bytes) -> Guest | None:
        guest = self._guests.pop(station, None)
        if guest is not None:
            guest.stop()
            self._link.admit(station, None)
        return guest

    def _remove(self, station: bytes, reason: int | None) -> None:
        guest = self._forget(station)
        if guest is not None and guest.member:
            self._emit("station left", {"address": station, "reason": reason})

    def _dismiss(self, station: bytes, reason: Reason) -> None:
        own = self._link.address
        sequence = self._link.next_sequence()
        goodbye = frames.farewell(Kind.DEAUTHENTICATION, station, own, own, sequence, reason)
        self._link.send_frame(self.plan.channel, goodbye)

    def _drop_inactive(self) -> None:
        limit_s = _INACTIVITY_LIMIT_S / self._link.speed
        for station in [who for who, guest in self._guests.items() if time.monotonic() - guest.heard_s > limit_s]:
            self._dismiss(station, Reason.INACTIVITY)
            self._remove(station, Reason.INACTIVITY)
        self._later(_INACTIVITY_LIMIT_S / 10, self._drop_inactive)
