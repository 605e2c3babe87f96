"""Finds a secret in octets, plainly or in an encoding that a page or log may give it."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from html.entities import html5
from itertools import product
from typing import Literal

Encoding = Literal["plain", "URL", "HTML", "JSON", "base64", "hex"]

_BASE64 = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"


@dataclass(frozen=True, order=True)
class Found:
    """Where a secret begins (offset in octets), and how it is encoded there."""

    offset: int
    encoding: Encoding


def find_secret(haystack: bytes, secret: str) -> list[Found]:
    """Give every place where a secret stands, by offset.

    Encodings may be mixed with plain letters (`a%20b`), hex may be in pairs with
    something between (`61:62`, `61 62`, `\\x61\\x62`), base64 may stand at any of
    its three alignments, in either alphabet, and be wrapped. A short secret is
    also found where it stands by chance: make canaries of eight characters or more.

    Raises:
        ValueError: the secret is empty.
    """
    if not secret:
        raise ValueError("an empty secret is everywhere: give one of eight characters or more")
    octets = secret.encode("utf-8", "surrogateescape")
    plain = set(_offsets(re.compile(re.escape(octets)), haystack))
    found = {Found(offset, "plain") for offset in plain}
    for encoding, pattern in _patterns(secret, octets):
        # A stretch without any escape is the plain one again.
        found |= {Found(offset, encoding) for offset in _offsets(pattern, haystack) if offset not in plain}
    return sorted(found)


def _offsets(pattern: re.Pattern[bytes], haystack: bytes) -> Iterator[int]:
    """Give each place where a pattern fits, overlapping ones too."""
    hit = pattern.search(haystack)
    while hit is not None:
        yield hit.start()
        hit = pattern.search(haystack, hit.start() + 1)


@cache  # re's own holds too few of them for the secrets of a whole run
def _patterns(secret: str, octets: bytes) -> list[tuple[Encoding, re.Pattern[bytes]]]:
    written: list[tuple[Encoding, bytes]] = [
        ("URL", b"".join(map(_url_octet, octets))),
        ("HTML", _letters(secret, _html_letter)),
        ("JSON", _letters(secret, _json_letter)),
        ("hex", _hex(octets)),
        *(("base64", _base64(octets, before)) for before in range(3)),
    ]
    return [(encoding, re.compile(pattern)) for encoding, pattern in written]


def _letters(secret: str, forms: Callable[[str], list[bytes]]) -> bytes:
    plain = ((letter, re.escape(letter.encode("utf-8", "surrogateescape"))) for letter in secret)
    return b"".join(b"(?:" + b"|".join([*forms(letter), itself]) + b")" for letter, itself in plain)


def _any_case(digits: str) -> bytes:
    return b"".join(b"[%c%c]" % (ord(digit.lower()), ord(digit.upper())) for digit in digits)


def _url_octet(octet: int) -> bytes:
    forms = [re.escape(bytes([octet])), b"%" + _any_case(f"{octet:02x}")]
    return b"(?:" + b"|".join([*forms, *([rb"\+"] if octet == 0x20 else [])]) + b")"


def _html_letter(letter: str) -> list[bytes]:
    named = sorted((name for name, text in html5.items() if text == letter), key=len, reverse=True)
    numbered = [b"&#0*%d;?" % ord(letter), b"&#[xX]0*" + _any_case(f"{ord(letter):x}") + b";?"]
    return [b"&" + re.escape(name.encode("ascii")) for name in named] + numbered


def _json_letter(letter: str) -> list[bytes]:
    units = letter.encode("utf-16-be", "surrogatepass").hex()
    escapes = [b"".join(rb"\\u" + _any_case(units[at : at + 4]) for at in range(0, len(units), 4))]
    short = {'"': '"', "\\": "\\", "/": "/", "\b": "b", "\f": "f", "\n": "n", "\r": "r", "\t": "t"}.get(letter)
    return escapes + ([re.escape(f"\\{short}".encode())] if short else [])


def _hex(octets: bytes) -> bytes:
    between = rb"(?:\\x|[ :,;-]{0,2}(?:0[xX])?)"
    return between.join(_any_case(f"{octet:02x}") for octet in octets)


def _base64(octets: bytes, before: int) -> bytes:
    """Give the pattern of base64 text in which `before` other octets stand ahead in the first group of three.

    A character that the secret fills in part only may be any with those bits right. Source: RFC 4648, 4 and 5.
    """
    known = "?" * (8 * before) + "".join(f"{octet:08b}" for octet in octets)
    known = known[6 * (8 * before // 6) :]
    known += "?" * (-len(known) % 6)
    sextets = [known[at : at + 6] for at in range(0, len(known), 6)]
    return rb"(?:\r?\n)?".join(map(_base64_character, sextets))


def _base64_character(sextet: str) -> bytes:
    choices = product(*("01" if bit == "?" else bit for bit in sextet))
    characters = {_BASE64[int("".join(bits), 2)] for bits in choices}
    other = {ord("+"): ord("-"), ord("/"): ord("_")}  # the alphabet for addresses
    characters |= {other[character] for character in characters if character in other}
    return b"[" + b"".join(re.escape(bytes([character])) for character in sorted(characters)) + b"]"
