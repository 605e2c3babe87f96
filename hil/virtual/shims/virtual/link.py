"""The line between this chip and its board: lines of JSON both ways over one connection.

Questions carry an `id` and are answered; orders are not; events come unasked. What
the board says is sorted here whoever happens to be reading: a question that blocks
the chip (flash) or the task that listens (`listen`).
"""

import asyncio
import errno
import json
import os
import select
import socket
import sys
import time
from binascii import unhexlify

ANSWER_LIMIT_MS = 60000

_socket = socket.socket()
_socket.connect(socket.getaddrinfo("127.0.0.1", int(os.getenv("HIL_LINK")))[0][-1])
_socket.setblocking(False)
_poll = select.poll()
_poll.register(_socket, select.POLLIN)

_unread = b""
_last_id = 0
_answers = {}
_asked = set()
_awaited = {}
_events = []
_event_came = asyncio.Event()
_datagram_takers = {}


class Lost(Exception):
    """The board does not answer."""


def tell(**order):
    """Give an order that has no answer."""
    octets = (json.dumps(order) + "\n").encode()
    while octets:
        try:
            octets = octets[_socket.send(octets) :]
        except OSError as error:
            if error.errno != errno.EAGAIN:
                sys.exit(1)  # the board is gone, and the chip with it
            time.sleep_ms(1)


def ask(**question):
    """Ask and wait with the chip at rest; OSError when the board answers with an error."""
    number = _send_question(question)
    while number not in _answers:
        if not _poll.poll(ANSWER_LIMIT_MS):
            raise Lost("no answer to %s" % question["op"])
        _read_now()
    return _take_answer(number)


async def ask_later(limit_s, **question):
    """Ask and let other tasks run meanwhile; asyncio.TimeoutError, or OSError as `ask`."""
    return (await ask_all_later(limit_s, [question]))[0]


async def ask_all_later(limit_s, questions):
    """Ask some things at once, and let other tasks run until all are answered; as `ask_later`, the limit for each."""
    numbers = [_send_question(question) for question in questions]
    for number in numbers:
        _awaited[number] = asyncio.Event()
    try:
        for number in numbers:
            await asyncio.wait_for(_awaited[number].wait(), limit_s)
    finally:
        for number in numbers:
            del _awaited[number]
            _asked.discard(number)
    return [_take_answer(number) for number in numbers]


async def listen():
    """Take in what the board says, for ever; ends the chip when the board is gone."""
    while True:
        _take(await _receive())


async def next_event(limit_s):
    """Return the next event, None when none came in time."""
    if not _events and limit_s > 0:
        _event_came.clear()
        try:
            await asyncio.wait_for(_event_came.wait(), limit_s)
        except asyncio.TimeoutError:
            pass
    return _events.pop(0) if _events else None


def forget_events():
    """Drop the events nobody has taken."""
    _events.clear()


def take_datagrams(port, take):
    """Call `take(octets, asker)` with each datagram to a port; `asker` is address and port."""
    _datagram_takers[port] = take


def _send_question(question):
    global _last_id
    _last_id += 1
    question["id"] = _last_id
    _asked.add(_last_id)
    tell(**question)
    return _last_id


def _take_answer(number):
    _asked.discard(number)
    answer = _answers.pop(number)
    if "error" in answer:
        raise OSError(answer["error"])
    return answer


def _read_now():
    try:
        octets = _socket.recv(4096)
    except OSError:
        return  # nothing there after all
    _take(octets)


def _take(octets):
    global _unread
    if not octets:
        sys.exit(1)
    lines = (_unread + octets).split(b"\n")
    _unread = lines.pop()
    for line in lines:
        _sort(json.loads(line.decode()))


def _sort(message):
    if "event" in message:
        _events.append(message)
        _event_came.set()
    elif "datagram" in message:
        _datagram_takers[message["port"]](unhexlify(message["datagram"]), (message["from"], message["from_port"]))
    elif message["id"] in _asked:
        _answers[message["id"]] = message
        if message["id"] in _awaited:
            _awaited[message["id"]].set()


if sys.implementation.name == "micropython":
    _stream = asyncio.StreamReader(_socket)

    async def _receive():
        return await _stream.read(4096)
else:

    async def _receive():
        return await asyncio.get_running_loop().sock_recv(_socket, 4096)
