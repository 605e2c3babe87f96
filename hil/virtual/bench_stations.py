"""The virtual bench's stations: access point with its control network, and probe, on the virtual air."""

import asyncio
import contextlib
import socket
import threading
from collections.abc import Coroutine, Sequence
from concurrent.futures import TimeoutError as FutureTimeoutError
from typing import TypeVar

from hil.core.errors import BenchError, InstrumentGone
from hil.core.moments import Json
from hil.core.timeline import Expired, Timeline
from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.stations import AccessPoint, Details, Lease, NetworkPlan, Probe
from hil.virtual.air.radio import HotspotPlan, Radio, RadioEvent

ORDER_REAL_S = 5.0
ACCESS_POINT_IP = "198.51.100.1"  # RFC 5737, TEST-NET-2: documentation only
CONTROL_IP = "192.0.2.1"  # TEST-NET-1
RETRY_S = 0.5
PUMP_OCTETS = 65536
Result = TypeVar("Result")

# What the access point books of its radio, and what it is called on the timeline.
BOOKED = {"station joined": "joined", "station left": "left", "wrong key": "wrong key", "leased": "leased"}


class AirThread:
    """An asyncio loop in a thread of its own, for everything that lives in the virtual air."""

    def __init__(self) -> None:
        """Start it."""
        self.loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self.loop.run_forever, name="air", daemon=True)
        self._thread.start()

    def run(self, what: Coroutine[object, object, Result], limit_real_s: float = ORDER_REAL_S) -> Result:
        """Run something in the loop and wait for it.

        Raises:
            BenchError: the air does not answer.
        """
        future = asyncio.run_coroutine_threadsafe(what, self.loop)
        try:
            return future.result(limit_real_s)
        except (FutureTimeoutError, OSError) as error:
            if isinstance(error, ConnectionRefusedError | TimeoutError) and future.done():
                raise
            future.cancel()
            raise BenchError("virtual air", f"does not answer: {error or 'no answer in time'}.") from error

    def dial(self, radio: Radio, host: str, port: int) -> socket.socket:
        """A plain socket that leads through the air.

        Raises:
            ConnectionRefusedError: the station is there and refuses.
            TimeoutError: nobody answers.
        """
        return self.run(_bridge(radio, host, port), 4 * ORDER_REAL_S)

    def close(self) -> None:
        """End the loop."""
        self.run(_cancel_all())
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(timeout=2.0)
        self.loop.close()


async def _cancel_all() -> None:
    others = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
    for task in others:
        task.cancel()
    await asyncio.gather(*others, return_exceptions=True)


async def _bridge(radio: Radio, host: str, port: int) -> socket.socket:
    air_reader, air_writer = await radio.dial(host, port)
    ours, theirs = socket.socketpair()
    near = await asyncio.open_connection(sock=theirs)
    carrying = asyncio.create_task(_carry((air_reader, air_writer), near))
    _keep.add(carrying)
    carrying.add_done_callback(_keep.discard)
    return ours


_keep: set[asyncio.Task[None]] = set()  # the loop itself holds tasks weakly
Ends = tuple[asyncio.StreamReader, asyncio.StreamWriter]


async def _carry(far: Ends, near: Ends) -> None:
    """Carry both ways until both have ended: one side's end leaves the other free to answer (RFC 9293, 3.6)."""
    try:
        await asyncio.gather(_pump(far[0], near[1]), _pump(near[0], far[1]))
    finally:
        far[1].close()
        near[1].close()


async def _pump(source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
    with contextlib.suppress(OSError):
        while chunk := await source.read(PUMP_OCTETS):
            sink.write(chunk)
            await sink.drain()
    with contextlib.suppress(OSError):
        sink.write_eof()


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


class VirtualAccessPoint(AccessPoint):
    """The network for the unit, and the control network that stays on the air."""

    def __init__(
        self, timeline: Timeline, air: AirThread, air_port: int, addresses: Sequence[bytes], seed: int
    ) -> None:
        """Prepare the radios: the first for the unit's network, the others for the control network, one a channel."""
        super().__init__(timeline)
        self._air = air
        speed = timeline.clock.speed
        self._radio = Radio(air_port, addresses[0], speed=speed, on_event=self._on_event, seed=seed)
        self._control = [
            Radio(air_port, address, speed=speed, on_event=lambda _event: None, seed=seed) for address in addresses[1:]
        ]
        self._address = addresses[0]
        self._endpoint = ProxyEndpoint(self._dial, self.source, on_reached=self._reached)

    def start(self, control_network: str, channels: Sequence[int]) -> None:
        """Put the control network on the air, on each channel."""
        self._air.run(self._radio.open())
        for radio, channel in zip(self._control, channels, strict=True):
            self._air.run(radio.open())
            self._air.run(radio.host(HotspotPlan(control_network.encode(), None, channel, CONTROL_IP)))

    def _go_up(self, plan: NetworkPlan) -> str:
        """Offer the network."""
        hotspot = HotspotPlan(
            plan.name.encode(),
            None if plan.passphrase is None else plan.passphrase.encode(),
            plan.channel,
            ACCESS_POINT_IP,
            hidden=plan.hidden,
            lease_delay_s=plan.lease_delay_s,
            refuses_leases=plan.refuses_leases,
        )
        self._air.run(self._radio.host(hotspot))
        return ":".join(f"{octet:02x}" for octet in self._address)

    def _go_down(self) -> None:
        """Fall silent, without farewell."""
        self._air.run(self._radio.unhost(farewell=False))

    def _ask(self) -> Details:
        """The radio answers, with its members."""
        members = self._air.run(_members(self._radio))
        if not self._radio.connected:
            raise InstrumentGone(self.source, "its radio is gone from the air.")
        return {"members": members, "network": self.network}

    def _dial(self, host: str, port: int) -> socket.socket:
        try:
            return self._air.dial(self._radio, host, port)
        except TimeoutError:
            self._ask()  # silence counts only while the bench's own end is there
            raise

    def lease_of_bench(self) -> Lease:
        """The bench stands in its own network."""
        return Lease(self.network, ACCESS_POINT_IP, ACCESS_POINT_IP, self._endpoint.url)

    def _on_event(self, event: RadioEvent) -> None:
        if event.kind in BOOKED:
            self._report(BOOKED[event.kind], event.monotonic_s, _details(event))

    def close(self) -> None:
        """Close endpoint and radios."""
        self._endpoint.close()
        self._air.run(self._radio.close())
        for radio in self._control:
            self._air.run(radio.close())


class VirtualProbe(Probe):
    """A station that joins the unit's hotspot."""

    def __init__(self, timeline: Timeline, air: AirThread, air_port: int, address: bytes, seed: int) -> None:
        """Prepare the radio."""
        super().__init__(timeline)
        self._air = air
        self._radio = Radio(air_port, address, speed=timeline.clock.speed, on_event=self._on_event, seed=seed)
        self._is_on = False
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
        why = "not found"
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
                why = "no answer in time"
            elif seen.kind == "leased":
                return Lease(name, seen.text("ip"), seen.text("router"), self._endpoint.url)
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
        self._timeline.add("probe", "left")

    def _on_event(self, event: RadioEvent) -> None:
        kind = "attempt failed" if event.kind == "join failed" else event.kind
        self._report(kind, event.monotonic_s, _details(event))

    def close(self) -> None:
        """Close endpoint and radio."""
        self._endpoint.close()
        self._air.run(self._radio.close())
