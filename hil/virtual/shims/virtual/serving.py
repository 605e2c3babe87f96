"""TCP and UDP of a virtual unit: services, connections and datagrams, carried by the board."""

import asyncio
import os
from binascii import hexlify

import link

DIAL_LIMIT_S = 20.0
PORT_TRIES = 20
BACKLOG = 16
MOST_WAITING = 16


async def start(serve, port):
    """Serve a port: `serve(reader, writer)` runs for each connection.

    The interpreter cannot say which free port the system chose, so one is chosen here.
    """
    for _ in range(PORT_TRIES):
        seed = os.urandom(2)
        local = 20000 + (seed[0] * 256 + seed[1]) % 12000
        try:
            server = await asyncio.start_server(serve, "127.0.0.1", local, backlog=BACKLOG)
        except OSError:
            continue
        link.tell(op="listen", port=port, local=local)
        return server
    raise OSError("no free port")


async def dial(host, port):
    """Return reader and writer of a connection; OSError says why there is none."""
    answer = await link.ask_later(DIAL_LIMIT_S, op="dial", host=host, port=port)
    return await asyncio.open_connection("127.0.0.1", answer["local"])


class Datagrams:
    """Datagrams to and from one UDP port; those that nobody takes in time are lost."""

    def __init__(self, port):
        self._port = port
        self._waiting = []
        self._came = asyncio.Event()
        link.take_datagrams(port, self._take)
        link.tell(op="bind", port=port)

    def _take(self, octets, asker):
        if len(self._waiting) < MOST_WAITING:
            self._waiting.append((octets, asker))
            self._came.set()

    async def receive(self):
        """Return the octets of the next datagram, and whom it came from: address and port."""
        while not self._waiting:
            self._came.clear()
            await self._came.wait()
        return self._waiting.pop(0)

    def send(self, octets, to):
        """Send a datagram; whether it comes there is never known."""
        link.tell(op="send", port=self._port, to=to[0], to_port=to[1], data=hexlify(octets).decode())
