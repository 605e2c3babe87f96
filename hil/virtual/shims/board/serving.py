"""TCP and UDP of a real board: its own sockets. Untested on hardware."""

import asyncio
import socket

BACKLOG = 8
LONGEST_DATAGRAM = 1472
LOOK_EVERY_S = 0.02


async def start(serve, port):
    """Serve a port: `serve(reader, writer)` runs for each connection."""
    return await asyncio.start_server(serve, "0.0.0.0", port, backlog=BACKLOG)


async def dial(host, port):
    """Return reader and writer of a connection; OSError says why there is none."""
    return await asyncio.open_connection(host, port)


class Datagrams:
    """Datagrams to and from one UDP port; those that nobody takes in time are lost."""

    def __init__(self, port):
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        self._socket.bind(("0.0.0.0", port))

    async def receive(self):
        """Return the octets of the next datagram, and whom it came from: address and port."""
        while True:
            try:
                return self._socket.recvfrom(LONGEST_DATAGRAM)
            except OSError:
                await asyncio.sleep(LOOK_EVERY_S)  # nothing there yet

    def send(self, octets, to):
        """Send a datagram; whether it comes there is never known."""
        try:
            self._socket.sendto(octets, to)
        except OSError:
            pass  # its buffers are full
