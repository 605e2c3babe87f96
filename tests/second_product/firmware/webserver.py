"""HTTP for few guests at a time: one question a connection, and patience for none that dawdles."""

import asyncio

import serving

PORT = 80
MOST_GUESTS = 10
MOST_HEAD = 1800
MOST_BODY = 2000
QUESTION_S = 4.0
ANSWER_S = 6.0
FAREWELL_S = 0.3
WORDS = {
    200: "OK",
    302: "Found",
    400: "Bad Request",
    404: "Not Found",
    405: "Method Not Allowed",
    408: "Request Timeout",
    409: "Conflict",
    411: "Length Required",
    413: "Content Too Large",
    415: "Unsupported Media Type",
    431: "Request Header Fields Too Large",
    500: "Internal Server Error",
    503: "Service Unavailable",
}


class Bad(Exception):
    """A question that cannot be answered; it says with which status."""

    def __init__(self, status):
        super().__init__(status)
        self.status = status


class Question:
    """Method, path, header fields by lower-case name, and body."""

    def __init__(self, method, path, fields, body):
        self.method, self.path, self.fields, self.body = method, path, fields, body


def answer(status, text, kind="text/plain", **fields):
    """Return an answer: its head, and its body."""
    body = text.encode()
    head = ["HTTP/1.1 %d %s" % (status, WORDS[status]), "Content-Type: %s; charset=utf-8" % kind]
    head += ["Content-Length: %d" % len(body), "Connection: close", "Cache-Control: no-store"]
    head += ["%s: %s" % (name.replace("_", "-"), fields[name]) for name in fields]
    return ("\r\n".join(head) + "\r\n\r\n").encode(), body


async def open_for(reply):
    """Serve; `reply` makes of each question its answer."""
    inside = [0]

    async def serve(reader, writer):
        inside[0] += 1
        try:
            await _talk(reader, writer, reply, inside[0] > MOST_GUESTS)
        except (OSError, asyncio.TimeoutError):
            pass  # whoever asked is gone
        inside[0] -= 1
        try:
            writer.close()
            await writer.wait_closed()
        except OSError:
            pass

    return await serving.start(serve, PORT)


async def _talk(reader, writer, reply, crowded):
    head_only = False
    unread = True
    try:
        if crowded:
            raise Bad(503)
        question = await asyncio.wait_for(_hear(reader), QUESTION_S)
        if question is None:
            return
        unread = False
        head_only = question.method == "HEAD"
        head, body = reply(question)
    except Bad as bad:
        head, body = answer(bad.status, WORDS[bad.status] + "\n")
    except asyncio.TimeoutError:
        head, body = answer(408, WORDS[408] + "\n")
    writer.write(head if head_only else head + body)
    await asyncio.wait_for(writer.drain(), ANSWER_S)
    if unread:
        await _hear_out(reader)


async def _hear_out(reader):
    """Take in what still comes for a moment: who hangs up on unread octets takes the answer back."""
    try:
        for _ in range(80):
            if not await asyncio.wait_for(reader.read(1024), FAREWELL_S):
                return
    except asyncio.TimeoutError:
        pass


async def _hear(reader):
    """Return the question, or None when none was begun; Bad says what is wrong with it."""
    heard = bytearray()
    while b"\r\n\r\n" not in heard:
        if len(heard) > MOST_HEAD:
            raise Bad(431)
        more = await reader.read(256)
        if not more:
            if heard:
                raise Bad(400)
            return None
        heard.extend(more)
    head, body = bytes(heard).split(b"\r\n\r\n", 1)
    method, path, fields = _understood(head)
    length = _length(method, fields)
    while len(body) < length:
        more = await reader.read(min(512, length - len(body)))
        if not more:
            raise Bad(400)
        body += more
    return Question(method, path, fields, body[:length])


def _understood(head):
    """Return method, path and fields of a head (RFC 9112, 3 and 5)."""
    try:
        first, *others = head.decode().split("\r\n")
    except UnicodeError:
        raise Bad(400)
    words = first.split(" ")
    if len(words) != 3 or words[1][:1] != "/" or words[2] not in ("HTTP/1.1", "HTTP/1.0"):
        raise Bad(400)
    fields = {}
    for line in others:
        name, colon, value = line.partition(":")
        if not colon:
            raise Bad(400)
        fields[name.lower()] = value.strip()
    return words[0], words[1].partition("?")[0], fields


def _length(method, fields):
    said = fields.get("content-length", "")
    if "transfer-encoding" in fields or (not said and method in ("POST", "PUT")):
        raise Bad(411)
    if said and not said.isdigit():
        raise Bad(400)
    length = int(said[:10] or "0")
    if length > MOST_BODY:
        raise Bad(413)
    return length
