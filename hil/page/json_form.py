"""A JSON answer as a form: its keys are controls, and filled in it is an object again.

Sources: RFC 8259 (an object's names and values, UTF-8, no NaN); how a script shows a number, and what it sends for one that
is none: ECMA-262, Number::toString and JSON.stringify. A nested value's name is that of its keys joined by dots.
"""

import json
import re
from collections.abc import Iterator, Sequence

from hil.page.encode import Entry
from hil.page.page import Control, Form, NotFound

JSON = "application/json"
BUILT = "json"
"""The kind of a control whose value is neither text, number, truth nor null: nobody types into it, and it travels as it is."""
_WHOLE_BELOW = 1e21  # from here on a script writes an exponent


def is_json(kind: str) -> bool:
    """Tell whether a content type is one of JSON (RFC 8259, 11; RFC 6839, 3.1)."""
    return kind == JSON or kind.endswith("+json")


def read_json(body: bytes) -> object | NotFound:
    """Read JSON; where it is none, why."""
    try:
        found: object = json.loads(body.decode("utf-8-sig"), parse_constant=_no_constant, parse_int=_whole)
    except (ValueError, RecursionError) as error:  # octets that are no UTF-8 among them
        return NotFound(f"no JSON: {error}")
    return found


def json_form(value: object, url: str) -> Form | None:
    """The form that an object stands for, sent back to where it came from; None for what is no object."""
    if not isinstance(value, dict):
        return None
    return Form(url, "post", JSON, "utf-8", tuple(_control(name, part) for name, part in _leaves(value)))


def listed_names(value: object, key: str) -> tuple[str, ...]:
    """The texts of a list, or those under a key of its objects; in an object, of the first list in it."""
    if isinstance(value, dict):
        value = next((part for part in value.values() if isinstance(part, list)), None)
    if not isinstance(value, list):
        return ()
    found = [part.get(key) if isinstance(part, dict) else part for part in value]
    return tuple(dict.fromkeys(name for name in found if isinstance(name, str)))


def json_body(entries: Sequence[Entry]) -> bytes:
    """Serialise entries as one object: numbers, truths and nulls as what their kinds say, dots as nested objects."""
    whole: dict[str, object] = {}
    for entry in entries:
        *outer, last = entry.name.split(".")
        place = whole
        for key in outer:
            inner = place.get(key)
            if not isinstance(inner, dict):
                inner = place[key] = {}
            place = inner
        place[last] = _value(entry)
    text = json.dumps(whole, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    # What no UTF-8 can say goes as an escape, as JSON.stringify writes it.
    return re.sub("[\ud800-\udfff]", lambda half: f"\\u{ord(half[0]):04x}", text).encode()


def _no_constant(name: str) -> object:
    raise ValueError(f"{name} is no value (RFC 8259, 6)")


def _whole(digits: str) -> int | float:
    return int(digits) if len(digits) < len(str(int(_WHOLE_BELOW))) else float(digits)


def _leaves(top: dict[str, object]) -> Iterator[tuple[str, object]]:
    waiting: list[tuple[str, object]] = list(top.items())[::-1]
    while waiting:
        name, value = waiting.pop()
        if isinstance(value, dict) and value:
            waiting += [(f"{name}.{key}", part) for key, part in reversed(value.items())]
        else:
            yield name, value


def _control(name: str, value: object) -> Control:
    if isinstance(value, bool):
        return Control(name, "checkbox", "true", checked=value)
    if isinstance(value, int | float):
        return Control(name, "number", _as_shown(value))
    if isinstance(value, str):
        return Control(name, "text", value)
    if value is None:
        return Control(name, "null", "")
    return Control(name, BUILT, json.dumps(value, ensure_ascii=False))


def _as_shown(number: float) -> str:
    if float(number).is_integer() and abs(number) < _WHOLE_BELOW:
        return str(int(number))
    return repr(number)


def _value(entry: Entry) -> object:
    if entry.kind == "checkbox":
        return bool(entry.value)
    if entry.kind == BUILT:
        return json.loads(entry.value)
    if entry.kind == "null":
        return entry.value or None
    if entry.kind in ("number", "range"):
        return _number(entry.value)
    return entry.value


def _number(text: str) -> object:
    """A number; null for no text, as a script's empty box; text that is no number stays what it is."""
    if not text:
        return None
    try:
        number = float(text)
    except ValueError:
        return text
    if number in (float("inf"), float("-inf")) or number != number:
        return text
    return int(number) if number.is_integer() and abs(number) < _WHOLE_BELOW else number
