"""The unit's form: decoding held against the WHATWG URL standard 5.2, names and keys against IEEE 802.11-2020.

Encoded rows: the URL standard's own example, and an encoder written from its rule. SSID: at most 32 octets
(9.4.2.2); WPA2: 8 to 63 characters with codes 32 to 126, or 64 hexadecimal digits (J.4.1).
"""

import html
import json
from collections.abc import Callable
from html.parser import HTMLParser

import pytest

Run = Callable[[str], object]

ENCODED = [
    ("a=b+%7E", {"a": "b ~"}),
    ("x=My+Caf%C3%A9+%26+Co", {"x": "My Café & Co"}),
    ("x=pass%2Bword+100%25", {"x": "pass+word 100%"}),
    ("x=%E2%82%AC", {"x": "€"}),
    ("x=%F0%9F%98%80", {"x": "\U0001f600"}),
    ("x=%0D%0A", {"x": "\r\n"}),
    ("x=*-._%7E%21%27%28%29", {"x": "*-._~!'()"}),
    ("x=ssid%22%3C%3E", {"x": 'ssid"<>'}),
    ("x=%7B%7D%5B%5D%7C%5C%5E%60", {"x": "{}[]|\\^`"}),
    ("x=%2F%3A%3B%40%3F%3D%26%23%24%2C", {"x": "/:;@?=&#$,"}),
    ("name=", {"name": ""}),
    # URL standard 5.1 and 1.3: no "=" means an empty value, empty parts are skipped, a stray "%" stands for itself
    ("a&&b=1", {"a": "", "b": "1"}),
    ("a=100%&b=%zz%4", {"a": "100%", "b": "%zz%4"}),
    ("a=b=c", {"a": "b=c"}),
]

# what the unit has stored before each trial
STORED = {
    "opens_at": 24.0,
    "closes_at": 19.0,
    "reports_to": "http://192.0.2.80/vents",
    "report_every_s": 60,
    "report_key": "rk-secret-1",
    "unit_name": "vent",
    "network": "Old network",
    "network_key": "old-key-0001",
    "network_open": False,
    "fixed_address": "",
    "netmask": "",
    "gateway": "",
    "update_key": "thistle-4417",
}


def merge(run_program: Run, sent: dict[str, str]) -> tuple[dict[str, object], list[str]]:
    """Return new values and complaints when a form is sent to a unit."""
    program = f"import json, form\nprint(json.dumps(form.merge(json.loads({json.dumps(STORED)!r}), {sent!r})))"
    found = run_program(program)
    assert isinstance(found, list)
    values, wrong = found
    return values, wrong


def test_decodes_what_browsers_send(run_program: Run) -> None:
    bodies = [body.encode() for body, _ in ENCODED]
    decoded = run_program(f"import json, form\nprint(json.dumps([form.decode(body) for body in {bodies!r}]))")
    assert decoded == [fields for _, fields in ENCODED]


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (b"network=%FF%FE", "not UTF-8"),
        (b"network=a&network=b", "twice"),
        (b"&".join(b"f%d=" % number for number in range(33)), "too many"),
    ],
)
def test_refuses_what_it_could_only_guess_at(run_program: Run, body: bytes, why: str) -> None:
    trial = f"try:\n    form.decode({body!r})\nexcept ValueError as error:\n    print(json.dumps(str(error)))"
    program = f"import json, form\n{trial}"
    assert why in str(run_program(program))


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("n", True),
        ("n" * 31, True),
        ("n" * 32, True),
        ("n" * 33, False),
        ("é" * 16, True),  # 32 octets
        ("é" * 17, False),
        ("\U0001f600" * 8, True),  # 32 octets
        (" A B ", True),
        ('"<b>&amp;\\', True),
        ("", False),
        ("tab\there", False),
    ],
)
def test_takes_network_names_of_1_to_32_octets(run_program: Run, name: str, taken: bool) -> None:
    values, wrong = merge(run_program, {"network": name, "network_key": "key-of-12-ch"})
    assert (not wrong) == taken
    assert values["network"] == name


PRINTABLE = "".join(chr(code) for code in range(32, 127))


@pytest.mark.parametrize(
    ("key", "taken"),
    [
        ("k" * 7, False),
        ("k" * 8, True),
        ("k" * 63, True),
        ("k" * 64, False),
        ("0123456789abcdefABCDEF" + "0" * 42, True),
        ("0" * 63 + "g", False),
        ("0" * 65, False),
        (PRINTABLE[:63], True),
        (PRINTABLE[-63:], True),
        (" eight  ", True),
        ("passwörd", False),
        ("tab\tinside", False),
    ],
)
def test_takes_wpa2_keys_of_8_to_63_printable_characters_or_64_digits(run_program: Run, key: str, taken: bool) -> None:
    values, wrong = merge(run_program, {"network": "New network", "network_key": key})
    assert (not wrong) == taken
    assert values["network_key"] == key


def test_empty_secrets_keep_the_stored_ones(run_program: Run) -> None:
    sent = {"unit_name": "north", "network": "Old network", "network_key": "", "report_key": "", "update_key": ""}
    values, wrong = merge(run_program, sent)
    assert wrong == []
    assert values == {**STORED, "unit_name": "north"}


@pytest.mark.parametrize("network", ["Open network", "Old network"])
def test_a_network_without_key_is_ticked(run_program: Run, network: str) -> None:
    values, wrong = merge(run_program, {"network": network, "network_key": "", "network_open": "yes"})
    assert wrong == []
    assert values == {**STORED, "network": network, "network_key": "", "network_open": True}


def test_a_blank_key_says_nothing_of_another_network(run_program: Run) -> None:
    values, wrong = merge(run_program, {"network": "Other network", "network_key": ""})
    assert ["must be given" in message for message in wrong] == [True]
    assert values["network_key"] == STORED["network_key"]


def test_a_key_and_the_tick_that_there_is_none_are_refused(run_program: Run) -> None:
    _, wrong = merge(run_program, {"network": "Old network", "network_key": "key-of-12-ch", "network_open": "yes"})
    assert ["must be empty" in message for message in wrong] == [True]


@pytest.mark.parametrize(
    ("field", "text", "says"),
    [
        ("opens_at", "50.5", "number from 0 to 50"),
        ("opens_at", "-1", "number from 0 to 50"),
        ("opens_at", "", "number from 0 to 50"),
        ("opens_at", "nan", "number from 0 to 50"),
        ("opens_at", "1e1", "number from 0 to 50"),
        ("opens_at", ".", "number from 0 to 50"),
        ("opens_at", "2-5", "number from 0 to 50"),
        ("opens_at", "2.5.1", "number from 0 to 50"),
        ("opens_at", "18", "close below"),
        ("closes_at", "24", "close below"),
        ("report_every_s", "9", "whole number from 10 to 3600"),
        ("report_every_s", "3601", "whole number from 10 to 3600"),
        ("report_every_s", "60.5", "whole number from 10 to 3600"),
        ("reports_to", "ftp://192.0.2.80/", "http://"),
        ("reports_to", "http://" + "x" * 122, "octets"),
        ("unit_name", "", "octets"),
        ("unit_name", "u" * 33, "octets"),
        ("report_key", "r" * 65, "octets"),
        ("report_key", "r\r\nInjected: yes", "control characters"),
        ("update_key", "short", "octets"),
        ("update_key", "schlüssel", "printable"),
    ],
)
def test_says_what_is_wrong_and_with_which_field(run_program: Run, field: str, text: str, says: str) -> None:
    _, wrong = merge(run_program, {field: text})
    assert len(wrong) == 1
    assert says in wrong[0]


def test_numbers_at_their_bounds_are_taken(run_program: Run) -> None:
    values, wrong = merge(run_program, {"opens_at": "50", "closes_at": "0", "report_every_s": "3600"})
    assert wrong == []
    assert (values["opens_at"], values["closes_at"], values["report_every_s"]) == (50.0, 0.0, 3600)


def test_a_body_without_any_setting_is_refused(run_program: Run) -> None:
    assert merge(run_program, {"something": "else"})[1] == ["No setting was sent."]


class FormReader(HTMLParser):
    """Reads a form with the standard library's parser: attributes of each input, and what each label is for."""

    def __init__(self) -> None:
        super().__init__()
        self.inputs: dict[str, dict[str, str | None]] = {}
        self.labelled: list[str | None] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = dict(attrs)
        if tag == "input":
            self.inputs[str(attributes["name"])] = attributes
        elif tag == "label":
            self.labelled.append(attributes["for"])


NASTY = "\"><script>'&amp;é"


def read_form(run_program: Run, values: dict[str, object]) -> tuple[str, FormReader]:
    """Return the form's source, and what a parser makes of it."""
    program = (
        f"import json, form\nprint(json.dumps(form.show(json.loads({json.dumps(values)!r}), '/save', ('<wrong>',))))"
    )
    source = str(run_program(program))
    reader = FormReader()
    reader.feed(source)
    return source, reader


def test_form_shows_every_value_but_no_secret(run_program: Run) -> None:
    values = {**STORED, "network": NASTY, "unit_name": NASTY}
    source, form = read_form(run_program, values)
    assert set(form.inputs) == set(STORED)
    shown = {name: attributes.get("value") for name, attributes in form.inputs.items()}
    expected = {**values, "opens_at": "24", "closes_at": "19", "report_every_s": "60", "network_open": "yes"}
    assert "checked" not in form.inputs["network_open"]
    secrets = ("report_key", "network_key", "update_key")
    assert shown == {**expected, **dict.fromkeys(secrets)}
    assert all(form.inputs[secret]["type"] == "password" for secret in secrets)
    assert not any(str(STORED[secret]) in source for secret in secrets)
    assert html.escape("<wrong>") in source


def test_every_input_has_its_label_and_numbers_their_bounds(run_program: Run) -> None:
    _, form = read_form(run_program, dict(STORED))
    assert form.labelled == [attributes["id"] for attributes in form.inputs.values()]
    bounds = {name: (a.get("min"), a.get("max")) for name, a in form.inputs.items() if a["type"] == "number"}
    assert bounds == {"opens_at": ("0", "50"), "closes_at": ("0", "50"), "report_every_s": ("10", "3600")}
