"""Texts that forms, stores and radios get wrong, chosen so that few saves cover much.

What they hold: the 32 printable ASCII characters that are neither letter, digit nor blank (ISO/IEC 646), the blank at either
end and doubled, `%` that does and does not begin an escape (WHATWG URL, percent-decoding), what means something in HTML, JSON
and a shell, two to four octets of UTF-8 (RFC 3629), a decomposed letter, and the full 32 octets of a network's name. Which
of them are got wrong in the field: `&` that cuts, `+` that becomes a blank, `%41` decoded twice (field reports, no standard).
"""

import string
from dataclasses import dataclass

PRINTABLE = "".join(map(chr, range(0x20, 0x7F)))
"""What a passphrase is made of: ASCII 32 to 126 (IEEE 802.11-2020, J.4.1)."""
SIGNS = string.punctuation
_LETTERS_AND_DIGITS = f"{string.ascii_letters} {string.digits}"  # with the blank, 63 characters
_UTF_8 = "🌱é 温室 €5 e\N{COMBINING ACUTE ACCENT} ß→🌱"  # 32 octets

TEXTS = (
    "+" + SIGNS.replace("+", "").replace("&", "") + "&",
    '%41+%2b%2525 a%41b&c="d"&lt;<b>#',
    _UTF_8,
    "  two  blanks at each end  .  ",
    "\"'C:\\new\\x41\\u0041\\0{{x}}$(y)`\\",
)
"""For a setting that takes any text of up to 32 octets."""


@dataclass(frozen=True, slots=True)
class AwkwardNetwork:
    """A network's name and key, and what is awkward of them."""

    what: str
    name: str
    key: str


NETWORKS = (
    AwkwardNetwork("every sign in a name of 32 octets, the longest passphrase", SIGNS, _LETTERS_AND_DIGITS),
    AwkwardNetwork("blanks at the ends, every sign in the passphrase", " a%41b+c&d=e#f  <b>\"x\"'y'\\ ", f" {SIGNS} "),
    AwkwardNetwork("32 octets of UTF-8, the shortest passphrase", _UTF_8, '+%41&"<#'),
)
"""The two passphrases of the first rows hold every printable ASCII character between them."""
HEX_KEY = AwkwardNetwork(
    "a key of 64 hexadecimal digits",
    "bench, by key",
    "0123456789abcdefABCDEF9876543210f1e2d3c4b5a6978800112233445566aB",
)
