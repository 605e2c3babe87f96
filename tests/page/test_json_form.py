"""JSON as a form, there and back. RFC 8259 (what JSON is), ECMA-262 (Number::toString, JSON.stringify: what a script shows
and sends), and Python's json as another reader of what was put in."""

import json

import pytest

from hil.page.encode import Entry
from hil.page.fill import FormRequest, fill
from hil.page.json_form import json_body, json_form, listed_names, read_json
from hil.page.page import Form, NotFound, value_of
from hil.page.read import read_page

URL = "http://203.0.113.1/api/settings"


def form_of(text: str) -> Form:
    form = json_form(read_json(text.encode()), URL)
    assert form is not None
    return form


def sent(text: str, values: dict[str, str], *, freely: bool = False) -> object:
    """What a script would send that read a text and was told some values."""
    request = fill(form_of(text), values, freely=freely)
    assert isinstance(request, FormRequest), request
    assert (request.method, request.url, request.content_type) == ("POST", URL, "application/json")
    return json.loads(request.body)


def test_keys_are_controls_of_the_kind_of_their_values() -> None:
    text = (
        '{"name": "vent", "at": 24.0, "on": true, "off": false, "to": null, "seen": [1], "wifi": {"key": "", "x": {}}}'
    )
    controls = {c.name: (c.kind, c.value, c.checked) for c in form_of(text).controls}
    assert controls == {
        "name": ("text", "vent", False),
        "at": ("number", "24", False),
        "on": ("checkbox", "true", True),
        "off": ("checkbox", "true", False),
        "to": ("null", "", False),
        "seen": ("json", "[1]", False),
        "wifi.key": ("text", "", False),
        "wifi.x": ("json", "{}", False),
    }


# ECMA-262, Number::toString
@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("24.0", "24"),
        ("27.5", "27.5"),
        ("-0.25", "-0.25"),
        ("1e3", "1000"),
        ("0", "0"),
        ("1e20", "100000000000000000000"),
    ],
)
def test_a_number_is_shown_as_a_script_shows_it(written: str, shown: str) -> None:
    assert form_of(f'{{"n": {written}}}').controls[0].value == shown


def test_what_is_not_typed_goes_back_as_it_came() -> None:
    text = '{"a": "x", "n": 24.5, "whole": 60, "on": true, "off": false, "none": null, "list": [1, {"b": 2}], "in": {"c": ""}}'
    assert sent(text, {}) == json.loads(text)


def test_what_is_typed_keeps_its_kind() -> None:
    text = '{"a": "x", "n": 24.5, "on": true, "off": false, "none": null, "in": {"c": "", "d": 1}}'
    typed = {"a": "120", "n": "60", "on": "", "off": "true", "none": "now", "in.c": "é", "in.d": "2.5"}
    expected = {"a": "120", "n": 60, "on": False, "off": True, "none": "now", "in": {"c": "é", "d": 2.5}}
    got = sent(text, typed)
    assert got == expected
    assert json.dumps(got) == json.dumps(expected)  # 60 and not 60.0, False and not 0


def test_an_empty_number_is_null_and_no_number_is_refused_by_a_box() -> None:
    # HTML, valueAsNumber of an empty box is NaN; JSON.stringify makes null of that
    assert sent('{"n": 1}', {"n": ""}) == {"n": None}
    assert sent('{"n": 1}', {"n": "12abc"}) == {"n": None}
    assert sent('{"n": 1}', {"n": "12abc"}, freely=True) == {"n": "12abc"}


@pytest.mark.parametrize("text", ["", "{", "{'a': 1}", '{"a": NaN}', '{"a": Infinity}', "\ufeff", "[" * 100_000])
def test_what_is_no_json_says_so(text: str) -> None:
    found = read_json(text.encode())
    assert isinstance(found, NotFound)
    assert found.reason.startswith("no JSON")


def test_octets_that_are_no_utf_8_are_no_json() -> None:
    # RFC 8259, 8.1
    assert isinstance(read_json(b'{"a": "\xe9"}'), NotFound)
    assert read_json(b'\xef\xbb\xbf{"a": 1}') == {"a": 1.0}  # parsers may ignore a byte order mark


def test_texts_go_as_utf_8_and_halves_of_characters_as_escapes() -> None:
    # ECMA-262, QuoteJSONString
    assert json_body([Entry("a", 'é🌱"\\\n\x01\ud800')]) == '{"a":"é🌱\\"\\\\\\n\\u0001\\ud800"}'.encode()


def test_dots_are_nested_objects_in_the_order_of_their_coming() -> None:
    entries = [Entry("b.x", "1"), Entry("a", "2"), Entry("b.y.z", "3", kind="number")]
    assert json_body(entries) == b'{"b":{"x":"1","y":{"z":3}},"a":"2"}'


def test_a_number_beyond_all_bounds_goes_as_text() -> None:
    # RFC 8259, 6: no infinity
    assert (
        json_body([Entry("n", "1e999", kind="number"), Entry("m", "nan", kind="number")]) == b'{"n":"1e999","m":"nan"}'
    )


@pytest.mark.parametrize(
    ("value", "key", "names"),
    [
        (["a", "b", "a"], "", ("a", "b")),
        ([{"ssid": "a"}, {"ssid": "b"}, {"other": "c"}], "ssid", ("a", "b")),
        ({"busy": True, "networks": [{"ssid": "a"}]}, "ssid", ("a",)),
        ([], "ssid", ()),
        ([1, None], "", ()),
        ({"a": 1}, "a", ()),
        ("a", "", ()),
    ],
)
def test_networks_in_a_list(value: object, key: str, names: tuple[str, ...]) -> None:
    assert listed_names(value, key) == names


def test_a_page_of_json_is_told_from_others() -> None:
    page = read_page(b'{"wifi": {"name": "Here", "on": true}}', "application/json; charset=utf-8", URL)
    assert (page.is_html, page.is_json, page.text) == (False, True, '{"wifi": {"name": "Here", "on": true}}')
    assert (value_of(page, "wifi.name"), value_of(page, "wifi.on")) == ("Here", "true")
    broken = read_page(b"{", "application/json", URL)
    assert not broken.is_json
    assert broken.note.startswith("no JSON")
    assert not read_page(b"{}", "text/plain", URL).is_json
    assert read_page(b"[]", "application/problem+json", URL).is_json  # RFC 6839, 3.1
