"""An MJPEG server on loopback: each picture offered goes to every client at once, in a part with its length."""

import asyncio

__all__ = ["PATH", "MjpegServer"]

PATH = "/camera.mjpeg"

_HEAD = (
    b"HTTP/1.1 200 OK\r\n"
    b"Content-Type: multipart/x-mixed-replace; boundary=frame\r\n"
    b"Cache-Control: no-store\r\nConnection: close\r\n\r\n"
)
_NOT_FOUND = b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
_REQUEST_LIMIT_S = 5.0
_UNSENT_LIMIT = 1 << 20  # octets waiting for a client that does not read; beyond, it misses pictures


class MjpegServer:
    """Serves one stream to any number of clients."""

    def __init__(self) -> None:
        """Begin with no client and closed."""
        self._server: asyncio.Server | None = None
        self._clients: set[asyncio.StreamWriter] = set()

    async def open(self) -> int:
        """Listen on a free loopback port, and give it."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        port: int = self._server.sockets[0].getsockname()[1]
        return port

    def close(self) -> None:
        """Take no clients any more and drop those there are, with what they have not read."""
        if self._server is not None:
            self._server.close()
        for client in self._clients:
            client.transport.abort()

    def offer(self, jpeg: bytes) -> None:
        """Send one picture to every client that keeps up."""
        part = b"--frame\r\nContent-Type: image/jpeg\r\nContent-Length: %d\r\n\r\n%b\r\n" % (len(jpeg), jpeg)
        for client in self._clients:
            if client.transport.get_write_buffer_size() < _UNSENT_LIMIT:
                client.write(part)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            async with asyncio.timeout(_REQUEST_LIMIT_S):
                request = await reader.readuntil(b"\r\n\r\n")
            if request.split(b" ")[:2] == [b"GET", PATH.encode()]:
                await self._stream(reader, writer)
            else:
                writer.write(_NOT_FOUND)
        except (TimeoutError, ConnectionError, asyncio.IncompleteReadError, asyncio.LimitOverrunError):
            pass  # no request to speak of, or the client is gone
        except asyncio.CancelledError:
            pass  # the process ends; Python 3.11 would report a cancelled connection as a fault
        finally:
            writer.close()

    async def _stream(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Keep a client until it hangs up."""
        writer.write(_HEAD)
        self._clients.add(writer)
        try:
            while await reader.read(4096):
                pass
        finally:
            self._clients.discard(writer)
