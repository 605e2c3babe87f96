"""The virtual bench's stations: access point with its control network, and probe, on the virtual air."""

import asyncio
import socket
import time
from collections.abc import Sequence
from functools import partial

from hil.core.errors import InstrumentGone
from hil.core.moments import Json
from hil.core.timeline import Expired, Timeline
from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.stations import RADIOS, AccessPoint, Details, Exchanged, Lease, Probe, SpareAddress
from hil.virtual.air.datagrams import Datagram
from hil.virtual.air.radio import HotspotPlan, Radio, RadioEvent
from hil.virtual.bench_air import ORDER_REAL_S, AirThread

ACCESS_POINT_IP = "198.51.100.1"  # RFC 5737, TEST-NET-2: documentation only
SPARE_IP, NETMASK = "198.51.100.240", "255.255.255.0"  # beyond what the virtual access point leases
CONTROL_IP = "192.0.2.1"  # TEST-NET-1
LAST_CHANNEL = 13  # as the rules of most countries have it
RETRY_S = 0.5
OWN_PORTS = (49152, 65535)  # RFC 6335, 6: those that nobody is assigned

# What the access point books of its radio, and what it is called on the timeline.
BOOKED = {"station joined": "joined", "station left": "left"} | {
    kind: kind for kind in ("wrong key", "lease asked", "leased", "announced")
}


def _text(value: object) -> Json:
    if isinstance(value, bytes):
        return (
            ":".join(f"{octet:02x}" for octet in value) if len(value) == 6 else value.decode(errors="backslashreplace")
        )
    return value if isinstance(value, str | int | float) else None


def _details(event: RadioEvent) -> Details:
    return {key: _text(value) for key, value in event.data.items()}


async def _members(radio: Radio) -> int:
    """Count a radio's members, by the way its reports come: there and back through the air, and through the loop."""
    if radio.connected:
        await radio.echo()
    return len(radio.members)


async def _members_of_all(radios: Sequence[Radio]) -> int:
    """Count the members of several, asked all at once."""
    return sum(await asyncio.gather(*(_members(radio) for radio in radios)))


class VirtualAccessPoint(AccessPoint):
    """The networks for the unit, and the control network that stays on the air."""

    def __init__(
        self, timeline: Timeline, air: AirThread, air_port: int, addresses: Sequence[bytes], seed: int
    ) -> None:
        """Prepare the radios: the first ones for the unit's networks, the others for the control network, one a channel."""
        super().__init__(timeline)
        self._air = air
        speed = timeline.clock.speed
        self._addresses = [":".join(f"{octet:02x}" for octet in address) for address in addresses[:RADIOS]]
        self._radios = [
            Radio(air_port, address, speed=speed, on_event=partial(self._on_event, number), seed=seed)
            for number, address in enumerate(addresses[:RADIOS])
        ]
        self._control = [
            Radio(air_port, address, speed=speed, on_event=lambda _event: None, seed=seed)
            for address in addresses[RADIOS:]
        ]
        self._port = 0  # at which reports are taken
        self._endpoint = ProxyEndpoint(self._dial, self.source, on_reached=self._reached)

    def start(self, control_network: str, channels: Sequence[int]) -> None:
        """Put the control network on the air, on each channel."""
        for radio in self._radios:
            self._air.run(radio.open())
        for radio, channel in zip(self._control, channels, strict=True):
            self._air.run(radio.open())
            self._air.run(radio.host(HotspotPlan(control_network.encode(), None, channel, CONTROL_IP)))

    def _go_up(self, plan: NetworkPlan, radio: int) -> str:
        """Offer the network."""
        if plan.channel > LAST_CHANNEL:
            problem = f"channel {plan.channel} is not allowed where it stands."
            raise InstrumentGone(self.source, problem, f"Name one of 1 to {LAST_CHANNEL}.")
        hotspot = HotspotPlan(
            plan.name.encode(),
            None if plan.passphrase is None else plan.passphrase.encode(),
            plan.channel,
            ACCESS_POINT_IP,
            hidden=plan.hidden,
            lease_delay_s=plan.lease_delay_s,
            refuses_leases=plan.refuses_leases,
            lease_s=round(plan.lease_s),
            weaker_by_db=plan.weaker_by_db,
            key_management=plan.key_management,
            protected_frames=plan.protection,
            mode=plan.mode,
            delay_s=plan.delay_s,
            loss=plan.loss,
        )
        self._air.run(self._radios[radio].host(hotspot))
        return self._addresses[radio]

    def _go_down(self, radio: int) -> None:
        """Fall silent, without farewell."""
        self._air.run(self._radios[radio].unhost(farewell=False))

    def _ask(self) -> Details:
        """The radios answer, with their members."""
        members = self._air.run(_members_of_all(self._radios))
        if not all(radio.connected for radio in self._radios):
            raise InstrumentGone(self.source, "its radio is gone from the air.")
        return {"members": members, "network": self.network}

    def _dial(self, host: str, port: int) -> socket.socket:
        """Dial by the radio whose network the host is in, as a bridge of them would."""
        radio = next((radio for radio in self._radios if host in radio.members.values()), self._radios[0])
        try:
            return self._air.dial(radio, host, port)
        except TimeoutError:
            self._ask()  # silence counts only while the bench's own end is there
            raise

    def _listen(self, port: int) -> socket.socket:
        listener = socket.create_server(("127.0.0.1", 0))
        self._port = port
        self._air.run(self._offer_service(listener.getsockname()[1]))
        return listener

    async def _offer_service(self, local_port: int | None) -> None:
        """Offer the service at our port on all our radios; None: take it away."""
        for radio in self._radios:
            if local_port is None:
                radio.unlisten(self._port)
            else:
                radio.listen(self._port, local_port)

    def _unlisten(self) -> None:
        self._air.run(self._offer_service(None))

    def lease_of_bench(self) -> Lease:
        """The bench stands in its own network."""
        return Lease(self.network, ACCESS_POINT_IP, ACCESS_POINT_IP, self._endpoint.url)

    def spare_address(self) -> SpareAddress:
        """One above those that are leased."""
        return SpareAddress(SPARE_IP, NETMASK, ACCESS_POINT_IP)

    def _on_event(self, radio: int, event: RadioEvent) -> None:
        if event.kind in BOOKED:
            details = {**_details(event), "bssid": self._addresses[radio]}
            self._report(BOOKED[event.kind], event.monotonic_s, details)

    def close(self) -> None:
        """Close endpoint and radios."""
        self._endpoint.close()
        self.take_no_reports()
        for radio in (*self._radios, *self._control):
            self._air.run(radio.close())


class VirtualProbe(Probe):
    """A station that joins the unit's hotspot."""

    def __init__(self, timeline: Timeline, air: AirThread, air_port: int, address: bytes, seed: int) -> None:
        """Prepare the radio."""
        super().__init__(timeline)
        self._air = air
        speed = timeline.clock.speed
        self._radio = Radio(
            air_port, address, speed=speed, on_event=self._on_event, seed=seed, on_datagram=self._take_datagram
        )
        self._is_on = False
        self._own_ip: str | None = None
        self._own_port = OWN_PORTS[0]
        self._awaited: dict[tuple[str, int, int], asyncio.Future[tuple[bytes, float]]] = {}
        self._endpoint = ProxyEndpoint(self._dial, self.source, on_reached=self._reached)

    def start(self) -> None:
        """Power the radio for the whole run; it is silent until it joins."""
        self._air.run(self._radio.open())
        self._is_on = True

    def join(self, name: str, passphrase: str | None, limit_s: float) -> Lease | None:
        """Try until the limit."""
        clock = self._timeline.clock
        deadline_s = clock.now_s() + limit_s
        try:
            self._air.run(self._radio.open())
        except OSError as error:
            raise InstrumentGone(self.source, f"its radio cannot be opened: {error}.") from error
        self._is_on = True
        why = ""
        while clock.now_s() < deadline_s:
            mark = self._timeline.mark()
            self._air.run(self._radio.join(name.encode(), passphrase.encode() if passphrase else None))
            seen = self._timeline.wait(
                lambda m: m.source == "probe" and m.kind in ("leased", "attempt failed"),
                limit_s=max(deadline_s - clock.now_s(), 0.1),
                awaited=f"the probe's lease on {name!r}",
                since=mark,
            )
            if isinstance(seen, Expired):
                why = why or "no answer in time"  # an attempt cut short tells less than one that failed
            elif seen.kind == "leased":
                router = seen.text("router") or seen.text("server")
                return Lease(name, seen.text("ip"), router, self._endpoint.url)
            else:
                why = seen.text("why")
                clock.pause(RETRY_S)
        self._ask()  # a failure counts only while the probe is there
        self._timeline.add("probe", "join failed", name=name, why=why)
        return None

    def _ask(self) -> Details:
        """The radio answers, and is on the air where it should be."""
        self._air.run(_members(self._radio))
        if self._is_on and not self._radio.connected:
            raise InstrumentGone(self.source, "its radio is gone from the air.")
        return {}

    def _dial(self, host: str, port: int) -> socket.socket:
        try:
            return self._air.dial(self._radio, host, port)
        except TimeoutError:
            self._ask()  # silence counts only while the bench's own end is there
            raise

    def leave(self) -> None:
        """Leave the network and fall silent."""
        self._air.run(self._radio.leave())
        self._own_ip = None
        self._timeline.add("probe", "left")

    def _exchange(self, host: str, port: int, octets: bytes, limit_s: float) -> Exchanged:
        """Ask from a port of our own, on which nothing but the answer from there is taken."""
        limit_real_s = self._timeline.clock.real_s(limit_s)
        exchanged = self._air.run(self._ask_by_datagram(host, port, octets, limit_real_s), ORDER_REAL_S + limit_real_s)
        if exchanged.octets is None:
            self._ask()  # silence counts only while the probe is there
        return exchanged

    async def _ask_by_datagram(self, host: str, port: int, octets: bytes, limit_real_s: float) -> Exchanged:
        self._own_port = self._own_port + 1 if self._own_port < OWN_PORTS[1] else OWN_PORTS[0]
        way = host, port, self._own_port
        answer = self._awaited[way] = asyncio.get_running_loop().create_future()
        sent_s = time.monotonic()
        if self._own_ip is not None:
            self._radio.send_datagram(Datagram(self._own_ip, self._own_port, host, port, octets))
        try:
            async with asyncio.timeout(limit_real_s):
                return Exchanged(sent_s, *await answer)
        except TimeoutError:
            return Exchanged(sent_s, None, time.monotonic())
        finally:
            del self._awaited[way]

    def _take_datagram(self, datagram: Datagram) -> None:
        answer = self._awaited.get((datagram.source, datagram.source_port, datagram.target_port))
        if answer is not None and not answer.done():
            answer.set_result((datagram.payload, time.monotonic()))

    def _on_event(self, event: RadioEvent) -> None:
        if event.kind in ("leased", "left"):
            self._own_ip = str(event.data["ip"]) if event.kind == "leased" else None
        kind = "attempt failed" if event.kind == "join failed" else event.kind
        self._report(kind, event.monotonic_s, _details(event))

    def close(self) -> None:
        """Close endpoint and radio."""
        self._endpoint.close()
        self._air.run(self._radio.close())
