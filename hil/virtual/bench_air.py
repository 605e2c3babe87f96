"""The virtual bench's way into the air: an asyncio loop in a thread of its own, and plain sockets that lead through it."""

import asyncio
import contextlib
import socket
import threading
from collections.abc import Coroutine
from concurrent.futures import TimeoutError as FutureTimeoutError
from typing import TypeVar

from hil.core.errors import BenchError
from hil.virtual.air.radio import Radio

ORDER_REAL_S = 5.0
PUMP_OCTETS = 65536
Result = TypeVar("Result")


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
