"""A small HTTP/1.1 server: one request a connection, every connection limited in size and time."""

import asyncio

import serving
from connections import close

LONGEST_HEAD = 2048
LONGEST_BODY = 4096
LONGEST_STREAM = 999999999  # what does not fit is told by whoever takes it
MOST_CONNECTIONS = 12
REQUEST_LIMIT_S = 5.0
ANSWER_LIMIT_S = 10.0
LINGER_S = 0.5

REASONS = {
    200: "OK",
    302: "Found",
    303: "See Other",
    400: "Bad Request",
    401: "Unauthorized",
    403: "Forbidden",
    404: "Not Found",
    405: "Method Not Allowed",
    408: "Request Timeout",
    411: "Length Required",
    413: "Content Too Large",
    431: "Request Header Fields Too Large",
    500: "Internal Server Error",
    503: "Service Unavailable",
}


class Refused(Exception):
    """A request that is answered with an error before it is looked at."""

    def __init__(self, status):
        super().__init__(status)
        self.status = status


class Request:
    """What a browser asked for; names of headers are in lower case."""

    def __init__(self, method, path, headers):
        self.method = method
        self.path = path
        self.headers = headers
        self.body = b""
        self.stream = None


class Reply:
    """What is answered; text that is no page is sent as plain text."""

    def __init__(self, status, text, headers=()):
        self.status = status
        self.text = text
        self.headers = headers

    def octets(self, head_only=False):
        """Return the reply as it is sent; the head alone says the length of the body all the same."""
        body = self.text.encode()
        kind = "html" if self.text.startswith("<!DOCTYPE") else "plain"
        lines = ["HTTP/1.1 %d %s" % (self.status, REASONS[self.status])]
        lines.append("Content-Type: text/%s; charset=utf-8" % kind)
        lines.append("Content-Length: %d" % len(body))
        lines.append("Cache-Control: no-store")
        lines.append("Connection: close")
        lines.extend("%s: %s" % header for header in self.headers)
        head = ("\r\n".join(lines) + "\r\n\r\n").encode()
        return head if head_only else head + body


class Stream:
    """A body that is read as it comes; `length` octets in all."""

    def __init__(self, reader, begun, length):
        self._reader = reader
        self._begun = begun
        self._left = length
        self.length = length

    async def read(self, count):
        """Return the next so many octets; raises Refused when the connection ends before, asyncio.TimeoutError."""
        octets, self._begun = self._begun[:count], self._begun[count:]
        while len(octets) < count:
            piece = await asyncio.wait_for(self._reader.read(min(1024, count - len(octets))), ANSWER_LIMIT_S)
            if not piece:
                raise Refused(400)
            octets += piece
        self._left -= count
        return octets

    async def drop(self):
        """Take in a little of what is left: closing on unread octets would take the answer away."""
        if self._left:
            await _linger(self._reader)


class Server:
    """Takes connections and lets `answer` (a coroutine function) turn each Request into a Reply.

    What is posted to a path of `streamed` may be of any length, and is read by whoever answers, from `request.stream`.
    """

    def __init__(self, answer, streamed=()):
        self._answer = answer
        self._streamed = streamed
        self._open = 0

    async def start(self):
        """Listen on port 80."""
        await serving.start(self._serve, 80)

    async def _serve(self, reader, writer):
        self._open += 1
        try:
            if self._open > MOST_CONNECTIONS:
                await _send(writer, Reply(503, "Too many connections.\n"))
            else:
                await self._exchange(reader, writer)
        except (OSError, asyncio.TimeoutError):
            pass  # the other side is gone or stopped listening
        finally:
            self._open -= 1
            await close(writer)

    async def _exchange(self, reader, writer):
        try:
            request = await asyncio.wait_for(_read_request(reader, self._streamed), REQUEST_LIMIT_S)
        except Refused as refusal:
            await _send(writer, Reply(refusal.status, REASONS[refusal.status] + ".\n"))
            await _linger(reader)
            return
        except asyncio.TimeoutError:
            await _send(writer, Reply(408, "Request Timeout.\n"))
            return
        if request is not None:
            await _send(writer, await self._answer(request), request.method == "HEAD")
            if request.stream:
                await request.stream.drop()


async def _send(writer, reply, head_only=False):
    writer.write(reply.octets(head_only))
    await asyncio.wait_for(writer.drain(), ANSWER_LIMIT_S)


async def _linger(reader):
    """Read on a little and drop it: closing on unread octets would take the answer away."""
    try:
        await asyncio.wait_for(_drop(reader), LINGER_S)
    except asyncio.TimeoutError:
        pass


async def _drop(reader):
    for _ in range(64):
        if not await reader.read(1024):
            return


async def _read_request(reader, streamed):
    """Return the request, None when the connection ends before it began; raises Refused."""
    head, rest = await _read_head(reader)
    if head is None:
        return None
    request = _parse_head(head)
    is_streamed = request.method == "POST" and request.path in streamed
    length = _body_length(request, LONGEST_STREAM if is_streamed else LONGEST_BODY)
    if is_streamed:
        request.stream = Stream(reader, rest[:length], length)
        return request
    while len(rest) < length:
        piece = await reader.read(min(1024, length - len(rest)))
        if not piece:
            raise Refused(400)
        rest += piece
    request.body = rest[:length]
    return request


async def _read_head(reader):
    octets = b""
    while True:
        end = octets.find(b"\r\n\r\n")
        if end >= 0:
            return octets[:end], octets[end + 4 :]
        if len(octets) > LONGEST_HEAD:
            raise Refused(431)
        piece = await reader.read(512)
        if not piece:
            if octets:
                raise Refused(400)
            return None, b""
        octets += piece


def _parse_head(head):
    try:
        lines = head.decode().split("\r\n")
    except UnicodeError:
        raise Refused(400)
    words = lines[0].split(" ")
    if len(words) != 3 or not words[2].startswith("HTTP/1.") or not words[1].startswith("/"):
        raise Refused(400)
    headers = {}
    for line in lines[1:]:
        name, colon, value = line.partition(":")
        if not colon:
            raise Refused(400)
        headers[name.lower()] = value.strip()
    return Request(words[0], words[1].split("?")[0], headers)


def _body_length(request, longest):
    if "transfer-encoding" in request.headers:
        raise Refused(411)
    text = request.headers.get("content-length")
    if text is None:
        if request.method == "POST":
            raise Refused(411)
        return 0
    if not text.isdigit():
        raise Refused(400)
    if len(text) > 9 or int(text) > longest:
        raise Refused(413)
    return int(text)
