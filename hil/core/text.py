"""Text to show: what a unit gave us made harmless, and numbers of things in words.

Evidence keeps such text raw. Whatever is printed on a terminal or put on a
sheet goes through `printable` first, so that a network name cannot clear a
screen, turn a line round, or hide a letter.
"""


def printable(text: str) -> str:
    r"""Show each character that could harm or mislead as an escape.

    Control characters (line ends and tabs too), ESC, bidi marks, invisible
    characters and blanks other than the plain one come out as ``\xNN``,
    ``\uNNNN`` or ``\UNNNNNNNN``. All else stays, the backslash too: so applying
    it twice changes nothing more. Markup stays as it is: escaping for HTML is
    the page's job.

    What must not be shown is what `str.isprintable` says: all of the Unicode categories Other (controls, formats,
    surrogates, private, unassigned) and Separator but the plain blank; Unicode Standard, table 4-4.
    """
    return text if text.isprintable() else "".join(_shown(character) for character in text)


def _shown(character: str) -> str:
    if character.isprintable():
        return character
    code = ord(character)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def count(number: int, one: str, many: str = "") -> str:
    """`1 check`, `3 checks`."""
    return f"{number} {one if number == 1 else many or one + 's'}"
