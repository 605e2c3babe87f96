"""Form octets, held against the WHATWG URL Standard (5.2) and HTML Standard (4.10.22), RFC 7578 and Python's email."""

from email import message_from_bytes
from urllib.parse import parse_qsl, quote_plus

import pytest

from hil.page.encode import Entry, multipart, plain, urlencoded

# The table of published values, section 3: the first row is the standard's own example.
PUBLISHED = [
    ("b ~", "b+%7E"),
    ("My Café & Co", "My+Caf%C3%A9+%26+Co"),
    ("pass+word 100%", "pass%2Bword+100%25"),
    ("€", "%E2%82%AC"),
    ("\U0001f600", "%F0%9F%98%80"),
    ("\r\n", "%0D%0A"),
    ("*-._~!'()", "*-._%7E%21%27%28%29"),
    ('ssid"<>', "ssid%22%3C%3E"),
    ("{}[]\\|^`", "%7B%7D%5B%5D%5C%7C%5E%60"),
    ("{}[]|\\^`", "%7B%7D%5B%5D%7C%5C%5E%60"),
    ("/:;@?=&#$,", "%2F%3A%3B%40%3F%3D%26%23%24%2C"),
    ("", ""),
]


@pytest.mark.parametrize(("value", "encoded"), PUBLISHED)
def test_urlencoded_as_published(value: str, encoded: str) -> None:
    assert urlencoded([Entry("a", value)]) == f"a={encoded}".encode()
    assert urlencoded([Entry(value, "a")]) == f"{encoded}=a".encode()


@pytest.mark.parametrize("value", ["*", "~"])
def test_urllib_would_encode_these_otherwise(value: str) -> None:
    assert urlencoded([Entry("a", value)]) != f"a={quote_plus(value)}".encode()


def test_every_octet_is_bare_or_escaped_as_the_standard_says() -> None:
    # WHATWG URL, application/x-www-form-urlencoded percent-encode set: all but ASCII alphanumerics and * - . _
    for code in range(0x20, 0x7F):
        letter = chr(code)
        bare = letter.isalnum() or letter in "*-._"
        expected = letter if bare else "+" if letter == " " else f"%{code:02X}"
        assert urlencoded([Entry("a", letter)]).decode() == f"a={expected}"


def test_python_reads_back_what_was_put_in() -> None:
    entries = [("name", "".join(map(chr, range(0x20, 0x250)))), ("empty", ""), ("name", "again & again")]
    body = urlencoded([Entry(*entry) for entry in entries]).decode()
    assert parse_qsl(body, keep_blank_values=True, strict_parsing=True) == entries


@pytest.mark.parametrize(
    ("raw", "octets"),
    [("a\rb", "a%0D%0Ab"), ("a\nb", "a%0D%0Ab"), ("a\r\nb", "a%0D%0Ab"), ("\n\r", "%0D%0A%0D%0A")],
)
def test_line_ends_become_cr_lf(raw: str, octets: str) -> None:
    # WHATWG HTML, "construct an entry list"/"convert to a list of name-value pairs"
    assert urlencoded([Entry("t", raw)]) == f"t={octets}".encode()


def test_other_encodings_and_what_they_lack() -> None:
    # WHATWG Encoding, "percent-encode after encoding": what the encoding lacks goes as %26%23NNNN%3B
    assert urlencoded([Entry("a", "é€")], "windows-1252") == b"a=%E9%80"
    assert urlencoded([Entry("a", "\u2603")], "windows-1252") == b"a=%26%239731%3B"
    assert urlencoded([Entry("a", "\udc80")]) == b"a=%EF%BF%BD"  # a lone surrogate is no scalar value


def test_multipart_as_pythons_email_reads_it() -> None:
    entries = [Entry("unit_name", "vent\nnorth"), Entry("key", "p&s=1 ü"), Entry("update", "", is_file=True)]
    body, content_type = multipart(entries)
    message = message_from_bytes(f"Content-Type: {content_type}\r\n\r\n".encode() + body)
    parts = [part for part in message.walk() if not part.is_multipart()]
    names = [part.get_param("name", header="content-disposition") for part in parts]
    values = [part.get_payload(decode=True) for part in parts]
    assert names == ["unit_name", "key", "update"]
    assert values == [b"vent\r\nnorth", "p&s=1 ü".encode(), b""]
    assert [part.get_content_disposition() for part in parts] == ["form-data"] * 3
    assert parts[2].get_content_type() == "application/octet-stream"
    assert parts[2].get_filename() == ""


def test_multipart_boundary_keeps_to_rfc_2046() -> None:
    body, content_type = multipart([Entry("a", "x" * 100)])
    boundary = content_type.partition("boundary=")[2]
    assert 0 < len(boundary) <= 70  # RFC 2046, 5.1.1
    assert body.count(b"--" + boundary.encode()) == 2
    assert body.endswith(b"--" + boundary.encode() + b"--\r\n")


def test_multipart_escapes_names() -> None:
    # WHATWG HTML, "multipart/form-data encoding algorithm": only these three are escaped
    body, _ = multipart([Entry('a"b\n%', "v")])
    assert b'name="a%22b%0D%0A%"' in body


def test_plain_text() -> None:
    # WHATWG HTML, "text/plain encoding algorithm"
    assert plain([Entry("a", "b c"), Entry("d", "e=f")]) == b"a=b c\r\nd=e=f\r\n"


def test_nothing_to_send() -> None:
    assert urlencoded([]) == b""
    assert plain([]) == b""
    assert multipart([])[0].endswith(b"--\r\n")
