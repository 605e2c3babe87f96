"""The settings form: its fields, the page, what a browser sends back, and what is wrong with it.

A secret is never shown: its box is empty, and left empty it stays what it was.
"""

import addresses
from markup import escape, page

MOST_FIELDS = 32


class Field:
    """One box of the form; `low` and `high` bound a number, or the octets of a text."""

    def __init__(self, name, label, kind, low, high, hint=""):
        self.name = name
        self.label = label
        self.kind = kind
        self.low = low
        self.high = high
        self.hint = hint


FIELDS = (
    Field("unit_name", "Unit name", "text", 1, 32),
    Field("opens_at", "Vent opens at (°C)", "number", 0, 50),
    Field("closes_at", "Vent closes at (°C)", "number", 0, 50),
    Field("reports_to", "Reports to (URL)", "url", 0, 128, "http://…, or empty for no reports"),
    Field("report_every_s", "Reports every (s)", "whole", 10, 3600),
    Field("report_key", "Report key", "secret", 0, 64, "Empty keeps the stored key."),
    Field("network", "Network", "text", 1, 32),
    Field(
        "network_key",
        "Network key",
        "secret",
        8,
        64,
        "Empty keeps the stored key.",
    ),
    Field("network_open", "The network has no key", "tick", 0, 0),
    Field("fixed_address", "Fixed address", "text", 0, 15, "Empty, as netmask and gateway: the network gives an address."),
    Field("netmask", "Netmask", "text", 0, 15),
    Field("gateway", "Gateway", "text", 0, 15),
    Field("update_key", "Update key", "secret", 8, 63, "Empty keeps the stored key."),
)


def show(values, action, wrong=()):
    """Return the page with the values filled in and a list of what was wrong."""
    items = "".join("<li>%s</li>\n" % escape(message) for message in wrong)
    notes = '<div class="wrong" role="alert"><p>Not saved:</p>\n<ul>\n%s</ul></div>\n' % items if wrong else ""
    boxes = "".join(_box(field, values) for field in FIELDS)
    body = '%s<form method="post" action="%s">\n%s<button type="submit">Save</button>\n</form>\n' % (notes, action, boxes)
    return page("Vent settings", body)


def _box(field, values):
    hint = '<small id="%s_hint">%s</small>\n' % (field.name, escape(field.hint)) if field.hint else ""
    described = ' aria-describedby="%s_hint"' % field.name if field.hint else ""
    return '<label for="%s">%s</label>\n<input id="%s" name="%s" %s%s>\n%s' % (
        field.name,
        escape(field.label),
        field.name,
        field.name,
        _attributes(field, values),
        described,
        hint,
    )


def _attributes(field, values):
    if field.kind == "tick":
        return 'type="checkbox" value="yes"%s' % (" checked" if values[field.name] else "")
    if field.kind == "secret":
        return 'type="password" minlength="%d" maxlength="%d" autocomplete="new-password"' % (field.low, field.high)
    value = 'value="%s"' % escape(text_of(values[field.name]))
    if field.kind in ("number", "whole"):
        step = "1" if field.kind == "whole" else "0.5"
        return 'type="number" min="%d" max="%d" step="%s" required %s' % (field.low, field.high, step, value)
    required = "required " if field.low else ""
    return 'type="%s" maxlength="%d" %s%s' % (field.kind, field.high, required, value)


def text_of(value):
    """Return a value as a person writes it: 24 rather than 24.0."""
    if isinstance(value, float) and value == int(value):
        value = int(value)
    return str(value)


def decode(body):
    """Return names and texts of an application/x-www-form-urlencoded body; raises ValueError."""
    sent = {}
    parts = [part for part in body.split(b"&") if part]
    if len(parts) > MOST_FIELDS:
        raise ValueError("too many fields")
    for part in parts:
        name, _, value = part.partition(b"=")
        name = _unquote(name)
        if name in sent:
            raise ValueError("a field came twice")
        sent[name] = _unquote(value)
    return sent


def _unquote(quoted):
    """Undo `+` and `%XX` and read UTF-8; a `%` that begins no octet stands for itself."""
    pieces = quoted.replace(b"+", b" ").split(b"%")
    plain = bytearray(pieces[0])
    for piece in pieces[1:]:
        if len(piece) >= 2 and _is_hex(piece[:2]):
            plain.append(int(piece[:2].decode(), 16))
            plain.extend(piece[2:])
        else:
            plain.extend(b"%" + piece)
    try:
        return bytes(plain).decode()
    except UnicodeError:
        raise ValueError("text that is not UTF-8")


def _is_hex(text):
    return all(octet in b"0123456789abcdefABCDEF" for octet in text)


def merge(stored, sent):
    """Return new values and a list of what is wrong; only with none of that may they be saved."""
    values = dict(stored)
    wrong = []
    for field in FIELDS:
        if field.name in sent:
            _take(field, sent[field.name], values, wrong)
    if not any(field.name in sent for field in FIELDS):
        wrong.append("No setting was sent.")
    if "network" in sent:
        _settle_key(stored, sent, values, wrong)
    if not wrong and values["closes_at"] >= values["opens_at"]:
        wrong.append("The vent must close below the temperature at which it opens.")
    if not wrong:
        wrong.extend(addresses.complaints(values, {field.name: field.label for field in FIELDS}))
    return values, wrong


def _settle_key(stored, sent, values, wrong):
    """A network has no key where that is ticked, and only there: a key left empty says nothing of another network."""
    values["network_open"] = "network_open" in sent
    typed = sent.get("network_key", "") != ""
    if values["network_open"] and typed:
        wrong.append("Network key must be empty where it is ticked that the network has none.")
    elif values["network_open"]:
        values["network_key"] = ""
    elif not typed and (values["network"] != stored["network"] or not stored["network_key"]):
        wrong.append("Network key must be given, or ticked that the network has none.")


def _take(field, text, values, wrong):
    """Put what was sent for a field into the values; what is wrong with it into the list."""
    if field.kind == "secret" and text == "":
        return
    if field.kind == "tick":
        return
    if field.kind in ("number", "whole"):
        number = _number(text, field.kind == "whole")
        if number is None or not field.low <= number <= field.high:
            kind = "a whole number" if field.kind == "whole" else "a number"
            wrong.append("%s must be %s from %d to %d." % (field.label, kind, field.low, field.high))
            values[field.name] = text
        else:
            values[field.name] = number
        return
    complaint = _complaint(field, text)
    if complaint:
        wrong.append("%s %s." % (field.label, complaint))
    values[field.name] = text


def _number(text, whole):
    """Return the number a text says in plain digits, None when it does not."""
    digits = "0123456789"
    if len(text) > 9 or not all(character in digits + "-." for character in text):
        return None
    if not any(character in digits for character in text):
        return None
    try:
        return int(text) if whole else float(text)
    except ValueError:
        return None


def _complaint(field, text):
    """Return what is wrong with a text, nothing when it is right."""
    if any(ord(character) < 32 or ord(character) == 127 for character in text):
        return "must not hold control characters"
    if field.name == "network_key":
        return "" if _fits_wpa2(text) else "must be 8 to 63 printable ASCII characters, or 64 hexadecimal digits"
    octets = len(text.encode())
    if not field.low <= octets <= field.high:
        return "must be %d to %d octets long; it is %d" % (field.low, field.high, octets)
    if field.kind == "url" and text and not text.startswith("http://"):
        return "must begin with http://"
    if field.name in ("update_key", "report_key") and not _is_printable(text):
        return "must be printable ASCII characters"
    return ""


def _is_printable(text):
    return all(32 <= ord(character) <= 126 for character in text)


def _fits_wpa2(text):
    """Tell whether a text is a WPA2 passphrase or key (IEEE 802.11-2020 J.4.1)."""
    if len(text) == 64:
        return _is_hex(text.encode())
    return 8 <= len(text) <= 63 and _is_printable(text)
