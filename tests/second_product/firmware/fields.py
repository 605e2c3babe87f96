"""The settings: their names, what each takes, and how they travel as JSON.

A name with a dot is a member of an object: `station.name` travels as {"station": {"name": …}}. Secrets travel one way only.
"""

TEXT, NUMBER, SECRET = "text", "number", "secret"


class Field:
    """One setting; `low` and `high` bound a number, or the octets of a text."""

    def __init__(self, name, title, kind, low, high, first):
        self.name = name
        self.title = title
        self.kind = kind
        self.low = low
        self.high = high
        self.first = first


FIELDS = (
    Field("station.name", "Station", TEXT, 1, 24, "rain"),
    Field("bucket.mm_per_tip", "Rain for one tip (mm)", NUMBER, 0.05, 2.0, 0.2),
    Field("report.url", "Send reports to", TEXT, 0, 96, "http://198.51.100.7/rain"),
    Field("report.every_min", "Minutes between reports", NUMBER, 1, 720, 15),
    Field("report.token", "Token for reports", SECRET, 0, 48, ""),
    Field("wifi.ssid", "Wi-Fi network", TEXT, 1, 32, ""),
    Field("wifi.key", "Wi-Fi key", SECRET, 8, 63, ""),
)


def at_first():
    """Return the settings of a device nobody has set up."""
    return {field.name: field.first for field in FIELDS}


def shown(settings):
    """Return the settings as they are shown: nested, and without secrets."""
    tree = {}
    for field in FIELDS:
        if field.kind != SECRET:
            group, _, member = field.name.partition(".")
            tree.setdefault(group, {})[member] = settings[field.name]
    return tree


def _flat(tree):
    """Return what was sent by full names; ValueError for what is no object of objects."""
    if not isinstance(tree, dict):
        raise ValueError("settings come as a JSON object")
    sent = {}
    for group, members in tree.items():
        if not isinstance(members, dict):
            raise ValueError("%s is no group of settings" % group)
        for member, value in members.items():
            sent["%s.%s" % (group, member)] = value
    return sent


def changed(settings, tree):
    """Return new settings and a list of what is wrong with what was sent; only with none of that may they be saved."""
    sent = _flat(tree)
    known = {field.name for field in FIELDS}
    wrong = ["There is no setting %s." % name for name in sent if name not in known]
    new = dict(settings)
    for field in FIELDS:
        if field.name in sent:
            try:
                new[field.name] = _taken(field, sent[field.name], settings[field.name])
            except ValueError as error:
                wrong.append("%s: %s." % (field.title, error))
    if not sent:
        wrong.append("No setting was sent.")
    if new["wifi.ssid"] != settings["wifi.ssid"] and not sent.get("wifi.key"):
        new["wifi.key"] = ""  # another network's key opens nothing here
    return new, wrong


def _taken(field, value, before):
    """Return what is to be stored; ValueError says why it cannot be."""
    if field.kind == NUMBER:
        return _number(field, value)
    if not isinstance(value, str):
        raise ValueError("must be a text")
    text = _whole_characters(value)
    if field.kind == SECRET and not text:
        return before
    if any(ord(character) < 32 or ord(character) == 127 for character in text):
        raise ValueError("must have no control characters")
    if field.kind == SECRET and any(ord(character) > 126 for character in text):
        raise ValueError("must be of ASCII characters")
    octets = len(text.encode())
    if not field.low <= octets <= field.high and not (field.name == "wifi.key" and _is_raw_key(text)):
        raise ValueError("must have %d to %d octets, not %d" % (field.low, field.high, octets))
    if field.name == "report.url" and text and not text.startswith("http://"):
        raise ValueError("must begin with http://")
    return text


def _number(field, value):
    """Return a number from a JSON number or from plain digits."""
    if isinstance(value, str) and value and all(character in "0123456789.-" for character in value):
        try:
            value = float(value)
        except ValueError:
            value = None
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError("must be a number")
    if not field.low <= value <= field.high:
        raise ValueError("must be from %g to %g" % (field.low, field.high))
    return int(value) if value == int(value) else value


def _is_raw_key(text):
    return len(text) == 64 and all(character in "0123456789abcdefABCDEF" for character in text)


def _whole_characters(text):
    """Put the halves together in which JSON may write a character beyond the first 65536 (RFC 8259, 7)."""
    whole, high = [], 0
    for character in text:
        code = ord(character)
        if 0xD800 <= code < 0xDC00 and not high:
            high = code
            continue
        if high or 0xDC00 <= code < 0xE000:
            if not (high and 0xDC00 <= code < 0xE000):
                raise ValueError("must be of whole characters")
            character = chr(0x10000 + ((high - 0xD800) << 10) + (code - 0xDC00))
            high = 0
        whole.append(character)
    if high:
        raise ValueError("must be of whole characters")
    return "".join(whole)
