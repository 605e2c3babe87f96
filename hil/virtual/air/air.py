"""The air of the virtual bench: a process that carries frames, DHCP, ARP, datagrams and streams between stations.

Run as `python -m hil.virtual.air '{"speed": 4.0, "seed": 1}'`; prints {"port": N} when ready. It knows nothing of
access points or handshakes beyond what stations tell it: it decides who hears what, how strong and when.

Unicast frames are repeated by every 802.11 radio until acknowledged, so they get lost with the fourth power of `loss`;
broadcasts and what a monitor hears get lost with `loss` itself. Acknowledgements themselves are not modelled.
"""

import asyncio
import random
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from hil.virtual.air.air_link import (
    ARP,
    DATAGRAM,
    DHCP,
    FRAME,
    FRAME_HEAD,
    ORDER,
    STAMP,
    MessageStream,
    Order,
    read_order,
)
from hil.virtual.air.air_streams import Membership, Networks, Streams
from hil.virtual.air.datagrams import Datagram, parse
from hil.virtual.air.frames import Kind
from hil.virtual.truth import NoTruth, TruthFile, TruthWriter
from hil.virtual.world_process import ask_for_priority, end_with_parent, read_config, say_ready, standard_input_ended

_UNICAST_TRIES = 4
_GROUP_BIT = 0x01
_MAX_BACKLOG_OCTETS = 4_000_000
"""A listener this far behind loses frames, as a capture's full buffer does."""
_DEFAULT_SIGNAL_DBM, _DEFAULT_JITTER_DB = -48, 2


@dataclass(frozen=True)
class AirConfig:
    """How the air behaves. `signals` gives dBm for a pair of addresses; "monitor" stands for any monitor."""

    speed: float = 1.0
    seed: int = 0
    loss: float = 0.0
    delay_s: float = 0.0
    signal_dbm: int = _DEFAULT_SIGNAL_DBM
    jitter_db: int = _DEFAULT_JITTER_DB
    signals: Mapping[frozenset[str], int] = field(default_factory=dict)
    truth_file: Path | None = None


def read_air_config(config: Mapping[str, object]) -> AirConfig:
    """Read the process's argument.

    {"speed", "seed", "loss": 0 to 1, "delay_s": unit seconds, "signal_dbm", "jitter_db",
    "signals": [{"between": ["02:00:00:00:00:01", "02:00:00:00:00:02" or "monitor"], "dbm": -70}], "truth_file"}

    Truth lines: `data frame`, `dhcp`, `arp` and `datagram` (when the air carried one), `stream` (when a service was
    dialled, and a piece came to or from it; 0 octets for its end).
    """
    signals: dict[frozenset[str], int] = {}
    listed = config.get("signals", [])
    for entry in listed if isinstance(listed, list) else []:
        signals[frozenset(str(name).replace(":", "").lower() for name in entry["between"])] = int(entry["dbm"])
    return AirConfig(
        speed=_number(config, "speed", 1.0),
        seed=int(_number(config, "seed", 0)),
        loss=_number(config, "loss", 0.0),
        delay_s=_number(config, "delay_s", 0.0),
        signal_dbm=int(_number(config, "signal_dbm", _DEFAULT_SIGNAL_DBM)),
        jitter_db=int(_number(config, "jitter_db", _DEFAULT_JITTER_DB)),
        signals=signals,
        truth_file=Path(str(config["truth_file"])) if "truth_file" in config else None,
    )


def _number(config: Mapping[str, object], key: str, default: float) -> float:
    value = config.get(key, default)
    if not isinstance(value, int | float):
        raise SystemExit(f"air: {key} = {value!r} is no number.")
    return float(value)


class Listener:
    """One connection: a station, or a monitor (no station)."""

    def __init__(self, air: "Air") -> None:
        """Wait for its hello."""
        self._air = air
        self.stream = MessageStream(self._take, self._ended)
        self.station: Membership | None = None
        self.channels: frozenset[int] = frozenset()
        self.beacons_of: frozenset[str] = frozenset()

    @property
    def name(self) -> str:
        """Return the address in hex, or "monitor"."""
        return self.station.address.hex() if self.station else "monitor"

    def hears(self, channel: int, frame: bytes) -> bool:
        """Say whether a frame is for this listener: monitors hear all, stations what is sent to them or to all."""
        if channel not in self.channels or self.stream.backlog_octets > _MAX_BACKLOG_OCTETS:
            return False
        if self.station is None:
            return True
        if frame[0] == Kind.BEACON:
            return "all" in self.beacons_of or frame[16:22].hex() in self.beacons_of
        return bool(frame[4] & _GROUP_BIT) or frame[4:10] == self.station.address

    def _take(self, mark: int, content: bytes) -> None:
        if mark == FRAME and self.station is not None:
            self._air.carry_frame(self, content[0], content[1:])
        elif mark == DHCP and self.station is not None:
            self._air.carry_dhcp(self.station, content[:6], content[6:])
        elif mark == ARP and self.station is not None:
            self._air.carry_arp(content[:6], content[6:])
        elif mark == DATAGRAM and self.station is not None:
            self._air.carry_datagram(self.station, content)
        elif mark == ORDER:
            self._obey(read_order(content))

    def _obey(self, order: Order) -> None:
        """Take an order; those a station gives of its networks change who can dial whom."""
        match order:
            case {"hello": "monitor", "channels": list(channels)}:
                self.channels = frozenset(channels)
                self._air.welcome(self)
            case {"hello": "station", "address": str(address)}:
                self.station = Membership(bytes.fromhex(address))
                self._air.welcome(self)
            case {"echo": number}:
                self.stream.send_order({"echo": number})
            case {"tune": list(channels), "beacons": list(whose)}:
                self.channels, self.beacons_of = frozenset(channels), frozenset(whose)
            case _ if self.station is not None:
                obey_station(self.station, order)
                self._air.networks.tell_change()

    def _ended(self) -> None:
        self._air.forget(self)


def obey_station(station: Membership, order: Order) -> None:
    """Book what a station says of its services and networks."""
    match order:
        case {"listen": int(port), "local": int(local_port)}:
            station.services[port] = local_port
        case {"unlisten": int(port)}:
            station.services.pop(port, None)
        case {"claim": str(bssid), "ip": str(ip)}:
            station.claims[bytes.fromhex(bssid)] = ip
        case {"claim": str(bssid), "ip": None}:
            station.claims.pop(bytes.fromhex(bssid), None)
        case {"admit": str(member), "ip": str(ip)}:
            station.admitted = {**(station.admitted or {}), bytes.fromhex(member): ip}
        case {"admit": str(member), "ip": None}:
            (station.admitted or {}).pop(bytes.fromhex(member), None)
        case {"end": True}:
            station.admitted = None
        case {"weaker_by_db": int() | float() as by_db}:
            station.weaker_by_db = float(by_db)
        case {"delay_real_s": int() | float() as delay_s, "loss": int() | float() as loss}:
            station.delay_real_s, station.loss = float(delay_s), float(loss)


class Air:
    """Everyone on the air."""

    def __init__(self, config: AirConfig) -> None:
        """Begin empty."""
        self.config = config
        self.networks = Networks()
        self._listeners: list[Listener] = []
        self._rng = random.Random(config.seed)
        self._began_s = time.monotonic()
        self._stream_port = 0
        self._truth: TruthWriter = TruthFile(config.truth_file) if config.truth_file else NoTruth()

    async def serve(self) -> int:
        """Open both ports on loopback and return the one stations connect to."""
        loop = asyncio.get_running_loop()
        delay_s, speed = self.config.delay_s / self.config.speed, self.config.speed
        streams = Streams(self.networks, delay_s, self._truth, self._rng, speed)
        stream_server = await asyncio.start_server(streams.accept, "127.0.0.1", 0)
        self._stream_port = stream_server.sockets[0].getsockname()[1]
        server = await loop.create_server(lambda: Listener(self).stream, "127.0.0.1", 0)
        port: int = server.sockets[0].getsockname()[1]
        return port

    def welcome(self, listener: Listener) -> None:
        """Take a listener in; a station replaces an older one of its address."""
        for old in [other for other in self._listeners if listener.station and other.name == listener.name]:
            self.forget(old)
            old.stream.close()
        self._listeners.append(listener)
        if listener.station is not None:
            self.networks.add(listener.station)
        listener.stream.send_order({"streams": self._stream_port, "speed": self.config.speed, "began_s": self._began_s})

    def forget(self, listener: Listener) -> None:
        """Drop a listener whose connection is gone."""
        if listener in self._listeners:
            self._listeners.remove(listener)
        if listener.station is not None:
            self.networks.remove(listener.station)

    def carry_frame(self, sender: Listener, channel: int, frame: bytes) -> None:
        """Bring a frame to all who hear it, after the air's delay."""
        if len(frame) < 10:
            return
        if self.config.delay_s:
            delay_s = self.config.delay_s / self.config.speed
            asyncio.get_running_loop().call_later(delay_s, self._deliver, sender, channel, frame)
        else:
            self._deliver(sender, channel, frame)

    def _deliver(self, sender: Listener, channel: int, frame: bytes) -> None:
        now_s = time.monotonic()
        if frame[0] == Kind.DATA:
            self._truth("data frame", t=now_s, by=sender.name, to=frame[4:10].hex())
        for listener in self._listeners:
            if listener is sender or not listener.hears(channel, frame) or self._lost(listener, frame):
                continue
            head = FRAME_HEAD.pack(channel, self._signal_dbm(sender, listener), now_s)
            listener.stream.send(FRAME, head + frame)

    def _lost(self, listener: Listener, frame: bytes) -> bool:
        if not self.config.loss:
            return False
        repeated = listener.station is not None and not frame[4] & _GROUP_BIT
        return self._lost_to_station() if repeated else self._rng.random() < self.config.loss

    def _lost_to_station(self) -> bool:
        return bool(self.config.loss) and self._rng.random() < self.config.loss**_UNICAST_TRIES

    def _signal_dbm(self, sender: Listener, listener: Listener) -> int:
        jitter_db = self.config.jitter_db
        dbm = self.config.signals.get(frozenset((sender.name, listener.name)), self.config.signal_dbm)
        weaker_by_db = round(sender.station.weaker_by_db) if sender.station else 0
        return max(-127, min(0, dbm - weaker_by_db + self._rng.randint(-jitter_db, jitter_db)))

    def carry_dhcp(self, sender: Membership, receiver: bytes, message: bytes) -> None:
        """Bring a DHCP message to its station, and to the monitors, after the air's delay and the sender's."""
        delay_s = self.config.delay_s / self.config.speed + sender.delay_real_s
        if sender.loses(self._rng):
            return
        if delay_s:
            asyncio.get_running_loop().call_later(delay_s, self._deliver_dhcp, receiver, message)
        else:
            self._deliver_dhcp(receiver, message)

    def _deliver_dhcp(self, receiver: bytes, message: bytes) -> None:
        now_s = time.monotonic()
        self._truth("dhcp", t=now_s, to=receiver.hex())
        stamp = STAMP.pack(now_s)
        for listener in self._listeners:
            if listener.station is None or listener.station.address == receiver:
                listener.stream.send(DHCP, stamp + message)

    def carry_arp(self, receiver: bytes, packet: bytes) -> None:
        """Bring an ARP packet to its station, after the air's delay; nobody else reads it on a secured network."""
        asyncio.get_running_loop().call_later(
            self.config.delay_s / self.config.speed, self._deliver_arp, receiver, packet
        )

    def _deliver_arp(self, receiver: bytes, packet: bytes) -> None:
        now_s = time.monotonic()
        self._truth("arp", t=now_s, to=receiver.hex())
        for listener in self._listeners:
            if listener.station is not None and listener.station.address == receiver:
                listener.stream.send(ARP, STAMP.pack(now_s) + packet)

    def carry_datagram(self, sender: Membership, packet: bytes) -> None:
        """Bring a datagram to the member of the sender's network that it is for, after the air's delay; else drop it."""
        datagram = parse(packet)
        if datagram is not None:
            delay_s = self.config.delay_s / self.config.speed + sender.delay_real_s
            asyncio.get_running_loop().call_later(delay_s, self._deliver_datagram, sender, datagram, packet)

    def _deliver_datagram(self, sender: Membership, datagram: Datagram, packet: bytes) -> None:
        target = self.networks.find(sender, datagram.target)
        own = self.networks.addresses_of(sender).values()
        if target is None or datagram.source not in own or self._lost_to_station() or sender.loses(self._rng):
            return
        now_s = time.monotonic()
        by, to, octets = sender.address.hex(), target.address.hex(), len(datagram.payload)
        self._truth("datagram", t=now_s, by=by, to=to, port=datagram.target_port, octets=octets)
        for listener in self._listeners:
            if listener.station is target:
                listener.stream.send(DATAGRAM, STAMP.pack(now_s) + packet)


async def main() -> None:
    """Serve until standard input ends."""
    end_with_parent()
    ask_for_priority()
    air = Air(read_air_config(read_config()))
    say_ready({"port": await air.serve()})
    await standard_input_ended()
