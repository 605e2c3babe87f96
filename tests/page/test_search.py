"""Secrets found in every encoding, held against Python's own encoders."""

import base64
import html
import json
from urllib.parse import quote, quote_plus

import pytest

from hil.page.search import Found, find_secret

CANARY = 'Kv7&p"Q<9+ü \\/x'
SIMPLE = "quartz-heron-41"


def encodings(haystack: bytes, secret: str) -> set[str]:
    return {found.encoding for found in find_secret(haystack, secret)}


@pytest.mark.parametrize("secret", [CANARY, SIMPLE])
def test_plain(secret: str) -> None:
    haystack = b"<p>" + secret.encode() + b"</p>" + secret.encode()
    assert find_secret(haystack, secret) == [
        Found(3, "plain"),
        Found(7 + len(secret.encode()), "plain"),
    ]


@pytest.mark.parametrize(
    "encoded",
    [quote(CANARY), quote_plus(CANARY), quote(CANARY, safe=""), quote(CANARY).lower().replace("kv7", "Kv7")],
)
def test_url_encoded(encoded: str) -> None:
    encoded = encoded.replace("q%3c", "Q%3c")
    assert "URL" in encodings(f"/save?key={encoded}&x=1".encode(), CANARY)


def test_every_octet_url_encoded() -> None:
    assert encodings("".join(f"%{octet:02x}" for octet in SIMPLE.encode()).encode(), SIMPLE) == {"URL"}


@pytest.mark.parametrize(
    "encoded",
    [
        html.escape(CANARY),
        html.escape(CANARY).encode("ascii", "xmlcharrefreplace").decode(),
        "".join(f"&#{ord(letter)};" for letter in CANARY),
        "".join(f"&#x{ord(letter):X};" for letter in CANARY),
        "".join(f"&#X00{ord(letter):x}" + ";" for letter in CANARY),
        CANARY.replace("&", "&AMP").replace("<", "&lt;").replace("ü", "&uuml;"),
    ],
)
def test_html_encoded(encoded: str) -> None:
    assert html.unescape(encoded) == CANARY  # Python's reading of the HTML Standard, 13.5
    assert "HTML" in encodings(f'<input value="{encoded}">'.encode(), CANARY)


@pytest.mark.parametrize("ensure_ascii", [True, False])
def test_json_encoded(ensure_ascii: bool) -> None:
    assert "JSON" in encodings(json.dumps({"key": CANARY}, ensure_ascii=ensure_ascii).encode(), CANARY)


def test_json_escapes_of_surrogate_pairs() -> None:
    assert encodings(json.dumps("lantern\U0001f600moss").encode(), "lantern\U0001f600moss") == {"JSON"}


@pytest.mark.parametrize("before", range(7))
@pytest.mark.parametrize("after", range(4))
@pytest.mark.parametrize("secret", [CANARY, SIMPLE, "abcdefgh", "\xff\xfe\xfb~~~??>"])
def test_base64_at_every_alignment(secret: str, before: int, after: int) -> None:
    octets = b"\x00\xff{:\x9a\x55\xaa"[:before] + secret.encode() + b"}\xfe\x01\xc3"[:after]
    for encode in (base64.b64encode, base64.urlsafe_b64encode):
        hits = find_secret(b"log: " + encode(octets) + b"\n", secret)
        expected = Found(5 + 8 * before // 6, "base64")
        assert expected in hits
    wrapped = base64.encodebytes(b"-" * 50 + octets)  # RFC 2045: lines of 76 characters
    assert "base64" in encodings(wrapped.replace(b"\n", b"\r\n"), secret)


@pytest.mark.parametrize("at", range(len(SIMPLE)))
def test_base64_of_a_near_miss_is_not_found(at: int) -> None:
    near = bytearray(SIMPLE.encode())
    near[at] ^= 0x01
    for before in range(3):
        assert find_secret(base64.b64encode(b"\xa5" * before + near + b"\x5a"), SIMPLE) == []


@pytest.mark.parametrize("between", ["", " ", ":", "-", ", 0x", "\\x"])
def test_hex_encoded(between: str) -> None:
    for secret in (CANARY, SIMPLE):
        dumped = between.join(f"{octet:02x}" for octet in secret.encode())
        assert encodings(dumped.encode(), secret) == {"hex"}
        assert encodings(between.join(f"{octet:02X}" for octet in secret.encode()).encode(), secret) == {"hex"}


def test_a_part_or_another_case_is_not_found() -> None:
    assert find_secret(SIMPLE[:-1].encode() + SIMPLE.upper().encode(), SIMPLE) == []
    assert find_secret(b"", SIMPLE) == []


def test_overlapping_hits_are_all_found() -> None:
    assert [found.offset for found in find_secret(b"abababab", "abab")] == [0, 2, 4]


def test_an_empty_secret_is_refused() -> None:
    with pytest.raises(ValueError, match="empty"):
        find_secret(b"anything", "")


def test_a_megabyte_of_rubbish_is_searched() -> None:
    rubbish = (b"%41&#65;&amp;QUFB\\u0041" * 50_000)[: 1 << 20]
    assert find_secret(rubbish, SIMPLE) == []
    assert find_secret(rubbish + SIMPLE.encode(), SIMPLE) == [Found(len(rubbish), "plain")]
