"""How keeper and run talk: one JSON object a packet of a UNIX socket, with open files beside it (SCM_RIGHTS of unix(7))."""

import json
import os
import socket
from collections.abc import Mapping, Sequence
from contextlib import suppress

LONGEST, MOST_FILES = 4096, 2
Message = dict[str, object]


def send(end: socket.socket, message: Mapping[str, object], files: Sequence[int] = ()) -> None:
    """Send a message with files, which stay open here.

    Raises:
        OSError: nobody is there any more.
    """
    socket.send_fds(end, [json.dumps(message).encode()], list(files))


def receive(end: socket.socket) -> tuple[Message, list[int]] | None:
    """The next message with its files, which are the caller's now; None where the other end is gone.

    Raises:
        OSError: it broke.
        ValueError: it is no JSON object.
    """
    octets, files, flags, _where = socket.recv_fds(end, LONGEST, MOST_FILES)
    if not octets and not files:
        return None
    try:
        if flags & (socket.MSG_TRUNC | socket.MSG_CTRUNC):
            raise ValueError("too long, or with too many files")
        message = json.loads(octets)
        if not isinstance(message, dict):
            raise ValueError("no JSON object")
    except (ValueError, RecursionError) as error:
        close_all(files)
        raise ValueError(f"not understood: {error}") from error
    return message, files


def close_all(files: Sequence[int]) -> None:
    """Close files."""
    for file in files:
        with suppress(OSError):
            os.close(file)
