"""The board's radio side in the lab, during one life of its chip: what the firmware asks for, done by the unit's real radios."""

import asyncio
import contextlib
import re
import socket
import struct
from collections.abc import Callable, Coroutine
from typing import TypeVar

from hil.instruments.host.lease_client import Bound
from hil.instruments.host.radio_station import security_told
from hil.virtual.air.radio import FixedAddress, HotspotPlan, Refused, SeenNetwork, Silent
from hil.virtual.board.antenna import Antenna, Doors, Stream, Tell
from hil.virtual.lab.radios import UnitRadios
from hil.virtual.truth import TruthWriter

__all__ = ["LabAntenna"]

Result = TypeVar("Result")

DIAL_S, SCAN_S = 5.0, 15.0
WRONG_KEY_REASON = 15  # IEEE 802.11-2020, 9.4.1.7: 4-way handshake timeout
AT_ONCE = struct.pack("ii", 1, 0)  # SO_LINGER: closing sends a reset, and waits for nothing
ESCAPED = re.compile(rb"\\x([0-9a-fA-F]{2})|\\([\\\"enrt])")
PLAIN = {b"\\": b"\\", b'"': b'"', b"e": b"\x1b", b"n": b"\n", b"r": b"\r", b"t": b"\t"}


class LabAntenna(Antenna):
    """What one life of the chip makes of the unit's radios."""

    def __init__(self, radios: UnitRadios, *, truth: TruthWriter, tell: Tell) -> None:
        """Be silent; `tell` passes events to the firmware."""
        self._radios, self._truth, self._tell = radios, truth, tell
        self._loop = asyncio.get_running_loop()
        self._turn = asyncio.Lock()
        self._doors = Doors()
        self._awake = self._joined = self._hosting = False
        self._fixed: FixedAddress | None = None
        self._guests: set[str] = set()
        self._scanned = asyncio.Event()
        self._services: list[asyncio.Server] = []
        self._datagrams: dict[int, asyncio.DatagramTransport] = {}
        self._far: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[object]] = set()
        radios.on_report = self._later(self._take_report)

    @property
    def active(self) -> bool:
        """Whether a radio is powered."""
        return self._awake

    @property
    def signal_dbm(self) -> int | None:
        """Signal of the joined network."""
        told = re.search(r"^RSSI=(-?\d+)", self._radios.station.ask("SIGNAL_POLL")) if self._joined else None
        return int(told[1]) if told else None

    @property
    def guests(self) -> int:
        """How many stations are on the hotspot."""
        return len(self._guests)

    async def scan(self) -> list[SeenNetwork]:
        """Scan all channels."""
        self._wake()
        self._scanned.clear()
        await self._order(lambda: self._radios.station.ask("SCAN"))  # one that is under way serves as well
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._scanned.wait(), SCAN_S)
        lines = (await self._order(lambda: self._radios.station.ask("SCAN_RESULTS"))).splitlines()[1:]
        return sorted((_seen(line.split("\t")) for line in lines), key=lambda network: -network.signal_dbm)

    async def join(
        self, ssid: bytes, passphrase: bytes | None, fixed: FixedAddress | None = None, bssid: bytes | None = None
    ) -> None:
        """Begin to join a network, with a fixed address or for a lease; events say how it goes."""
        self._wake()
        self._truth("joining", ssid=ssid.hex())
        self._joined, self._fixed = False, fixed
        self._do(self._order(lambda: self._radios.select(ssid, passphrase, bssid)))

    async def leave(self) -> None:
        """Leave the network or drop the attempt."""
        self._joined = False
        if self._awake:
            self._do(self._order(self._radios.leave))

    async def host(self, plan: HotspotPlan) -> None:
        """Put the hotspot on the air."""
        self._wake()
        self._guests.clear()
        await self._order(lambda: self._radios.host(plan, self._later(self._take_guest)))
        self._hosting = True
        self._truth("hotspot up", ssid=plan.ssid.hex(), channel=plan.channel)

    async def unhost(self) -> None:
        """Take the hotspot off the air."""
        if self._hosting:
            await self._order(self._radios.unhost)
            self._hotspot_is_down()

    def listen(self, port: int, local_port: int) -> None:
        """Offer a service in both networks."""
        end = self._radios.socket(socket.SOCK_STREAM, port)

        async def admit(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            self._far.add(writer)
            try:
                near = await asyncio.open_connection("127.0.0.1", local_port)
            except OSError:
                _abort(writer)
            else:
                self._doors.relay(near, (reader, writer))

        async def serve() -> None:
            self._services.append(await asyncio.start_server(admit, sock=end))

        self._do(serve())

    def bind(self, port: int) -> None:
        """Have datagrams to a port of ours told to the firmware."""
        end = self._radios.socket(socket.SOCK_DGRAM, port)

        def take(octets: bytes, source: tuple[str, int]) -> None:
            self._tell({"datagram": octets.hex(), "port": port, "from": source[0], "from_port": source[1]})

        async def open_it() -> None:
            transport, _ = await self._loop.create_datagram_endpoint(lambda: _Datagrams(take), sock=end)
            self._datagrams[port] = transport

        self._do(open_it())

    def send_datagram(self, port: int, ip: str, to_port: int, payload: bytes) -> None:
        """Send a datagram from a port of ours; without a network it is lost."""
        if port not in self._datagrams:
            with self._radios.socket(socket.SOCK_DGRAM, port) as end, contextlib.suppress(OSError):
                end.sendto(payload, (ip, to_port))
            return
        self._datagrams[port].sendto(payload, (ip, to_port))

    async def dial(self, ip: str, port: int) -> int:
        """Open a stream to another station; return the local port at which the firmware gets it, once."""
        end = self._radios.socket(socket.SOCK_STREAM)
        try:
            async with asyncio.timeout(DIAL_S):
                await self._loop.sock_connect(end, (ip, port))
        except ConnectionRefusedError as error:
            end.close()
            raise Refused(f"{ip}:{port} refused.") from error
        except OSError as error:
            end.close()
            raise Silent(f"{ip}:{port} did not answer within {DIAL_S:g} s.") from error
        far: Stream = await asyncio.open_connection(sock=end)
        self._far.add(far[1])
        return await self._doors.lead_to(far)

    async def close(self) -> None:
        """Fall silent, with no farewell, and only then let go of everything."""
        if self._awake:
            self._radios.silence()
        self._awake = False
        self._radios.on_report = lambda *_: None
        for writer in self._far:
            _abort(writer)
        for service in self._services:
            service.close()
        for transport in self._datagrams.values():
            transport.abort()
        await self._doors.close()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self._order(self._radios.unhost)
        await self._order(self._radios.leave)
        if self._hosting:
            self._hotspot_is_down()

    def _wake(self) -> None:
        if not self._awake:
            self._awake = True
            self._radios.wake()

    async def _order(self, order: Callable[[], Result]) -> Result:
        """Give the radios an order, without holding up all else."""
        async with self._turn:
            return await asyncio.to_thread(order)

    def _later(self, take: Callable[[str], None]) -> Callable[[str, float], None]:
        return lambda report, _came_s: self._in_loop(take, report)

    def _in_loop(self, take: Callable[..., None], *what: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: the board is at its end
            self._loop.call_soon_threadsafe(take, *what)

    def _do(self, what: Coroutine[object, object, object]) -> None:
        """Do it beside all else: the firmware waits for no daemon, as it would not on a chip (its lamp would stand still)."""
        task = asyncio.create_task(what)
        self._tasks.add(task)
        task.add_done_callback(self._done)

    def _done(self, task: asyncio.Task[object]) -> None:
        self._tasks.discard(task)
        trouble = None if task.cancelled() else task.exception()
        if trouble is not None:
            self._truth("trouble", why=str(trouble))

    def _take_report(self, report: str) -> None:
        if report.startswith("CTRL-EVENT-SCAN-RESULTS"):
            self._scanned.set()
        elif report.startswith("CTRL-EVENT-CONNECTED"):
            self._is_joined(report)
        elif "reason=WRONG_KEY" in report:
            self._fail("wrong key", WRONG_KEY_REASON)
        elif report.startswith("CTRL-EVENT-NETWORK-NOT-FOUND"):
            self._fail("not found", None)
        elif report.startswith("CTRL-EVENT-ASSOC-REJECT"):
            self._fail("refused", None)
        elif report.startswith("CTRL-EVENT-DISCONNECTED") and self._joined:
            told = re.search(r"reason=(\d+)", report)
            self._joined = False
            self._do(self._order(self._radios.leave))
            self._tell({"event": "left", "reason": int(told[1]) if told else None})

    def _is_joined(self, report: str) -> None:
        told = re.search(r"[0-9a-f]{2}(:[0-9a-f]{2}){5}", report)
        bssid = told[0].replace(":", "") if told else ""
        self._joined = True
        self._truth("joined", bssid=bssid)
        self._tell({"event": "joined", "bssid": bssid, "channel": None})
        fixed = self._fixed
        if fixed is None:
            self._do(self._order(lambda: self._radios.ask_for_address(self._bound)))
            return

        async def hold() -> None:
            await self._order(lambda: self._radios.hold_address(fixed))
            self._is_addressed("addressed", fixed.ip, fixed.mask, fixed.router)

        self._do(hold())

    def _bound(self, bound: Bound, _came_s: float) -> None:
        self._in_loop(self._is_addressed, "leased", bound.ip, bound.mask, bound.router)

    def _is_addressed(self, kind: str, ip: str, mask: str, router: str) -> None:
        if self._joined:
            self._truth(kind, ip=ip)
            self._tell({"event": kind, "ip": ip, "mask": mask, "router": router})

    def _fail(self, why: str, reason: int | None) -> None:
        """One attempt is over: the daemon would go on by itself."""
        self._do(self._order(self._radios.leave))
        self._tell({"event": "join failed", "why": why, "reason": reason})

    def _take_guest(self, report: str) -> None:
        kind, _, address = report.partition(" ")
        if kind == "AP-STA-CONNECTED":
            self._guests.add(address.split(" ")[0])
        elif kind == "AP-STA-DISCONNECTED":
            self._guests.discard(address.split(" ")[0])

    def _hotspot_is_down(self) -> None:
        self._hosting = False
        self._truth("hotspot down")


class _Datagrams(asyncio.DatagramProtocol):
    """Hands on what comes to one port."""

    def __init__(self, take: Callable[[bytes, tuple[str, int]], None]) -> None:
        self._take = take

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        """Hand it on."""
        self._take(data, addr)


def _abort(writer: asyncio.StreamWriter) -> None:
    """Let go of a stream at once, with nothing sent later: while the radio is silent nobody hears even the reset."""
    end: socket.socket | None = writer.get_extra_info("socket")
    if end is not None:
        with contextlib.suppress(OSError):  # closed already
            end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, AT_ONCE)
    writer.transport.abort()


def _seen(columns: list[str]) -> SeenNetwork:
    """A line of SCAN_RESULTS: bssid, frequency, signal, flags, name."""
    bssid, mhz, dbm, flags = columns[:4]
    name = ESCAPED.sub(_unescaped, "\t".join(columns[4:]).encode())
    channel = (int(mhz) - 2407) // 5  # IEEE 802.11-2020, 15.4.4.3: 2407 MHz and 5 MHz a channel
    return SeenNetwork(name, bytes.fromhex(bssid.replace(":", "")), channel, int(dbm), security_told(flags))


def _unescaped(found: "re.Match[bytes]") -> bytes:
    return bytes([int(found[1], 16)]) if found[1] else PLAIN[found[2]]
