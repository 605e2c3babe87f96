"""Answers to questions for a name's address (RFC 1035): every name is the unit's own address.

Who joins a network first asks for names; one that is answered leads to the unit's page.
"""

import struct

HEAD = ">HHHHHH"
HEAD_SIZE = 12
LONGEST_LABEL = 63
LONGEST_NAME = 255
RESPONSE, AUTHORITATIVE, RECURSION_WANTED, RECURSION_OFFERED = 0x8000, 0x0400, 0x0100, 0x0080
OPERATION = 0x7800
ADDRESS, INTERNET = 1, 1
NAME_OF_THE_QUESTION = 0xC000 | HEAD_SIZE
VALID_S = 10


def answer(query, address):
    """Return the answer to a query, nothing when it is none; `address` is four octets.

    Only a question for an address has one; one for anything else is answered with nothing, so that nobody waits.
    """
    if len(query) < HEAD_SIZE:
        return b""
    number, flags, questions = struct.unpack(">HHH", query[:6])
    end = _end_of_name(query, HEAD_SIZE)
    if flags & (RESPONSE | OPERATION) or questions != 1 or not end or len(query) < end + 4:
        return b""
    kind = struct.unpack(">HH", query[end : end + 4])
    found = b""
    if kind == (ADDRESS, INTERNET):
        found = struct.pack(">HHHIH", NAME_OF_THE_QUESTION, ADDRESS, INTERNET, VALID_S, len(address)) + address
    flags = RESPONSE | AUTHORITATIVE | RECURSION_OFFERED | flags & RECURSION_WANTED
    return struct.pack(HEAD, number, flags, 1, 1 if found else 0, 0, 0) + query[HEAD_SIZE : end + 4] + found


def _end_of_name(query, start):
    """Return where a name ends, 0 when it does not, or is none that a question has."""
    at = start
    while at < len(query):
        length = query[at]
        at += 1 + length
        if length > LONGEST_LABEL or at - start > LONGEST_NAME:
            return 0
        if length == 0:
            return at
    return 0
