"""Forms filled in as a browser fills them: held against the HTML Standard, 4.10.22 (sections beside the cases)."""

from urllib.parse import parse_qsl

import pytest

from hil.page.fill import (
    Control,
    ControlRule,
    FormRequest,
    NotFound,
    Page,
    fill,
    fill_page,
    find_control,
    find_form,
)
from hil.page.read import read_page

URL = "http://203.0.113.1/setup?from=menu#top"


def page_of(markup: str) -> Page:
    return read_page(markup.encode(), "text/html; charset=utf-8", URL)


def sent(markup: str, values: dict[str, str] | None = None) -> FormRequest:
    request = fill(page_of(markup).forms[0], values or {})
    assert isinstance(request, FormRequest), request
    return request


def pairs(markup: str, values: dict[str, str] | None = None) -> list[tuple[str, str]]:
    request = sent(f"<form method=post>{markup}</form>", values)
    return parse_qsl(request.body.decode(), keep_blank_values=True)


def refused(markup: str, values: dict[str, str]) -> str:
    request = fill(page_of(f"<form method=post>{markup}</form>").forms[0], values)
    assert isinstance(request, NotFound), request
    return request.reason


def test_a_post_as_a_browser_sends_it() -> None:
    request = sent(
        "<form action=save method=post><input name=network><input name=key type=password>"
        "<input type=hidden name=token value='a b'><input type=submit value=Save></form>",
        {"network": "My Café & Co", "key": "pass+word 100%~"},
    )
    assert request == FormRequest(
        "POST",
        "http://203.0.113.1/save",
        b"network=My+Caf%C3%A9+%26+Co&key=pass%2Bword+100%25%7E&token=a+b",
        "application/x-www-form-urlencoded",
    )


def test_a_get_replaces_the_query() -> None:
    # 4.10.22.3, "mutate action URL"
    assert sent("<form><input name=q></form>", {"q": "*~ é"}) == FormRequest(
        "GET", "http://203.0.113.1/setup?q=*%7E+%C3%A9", b"", ""
    )


def test_a_post_keeps_the_query_and_drops_the_fragment() -> None:
    assert sent("<form method=post></form>").url == "http://203.0.113.1/setup?from=menu"


def test_other_encodings_of_the_body() -> None:
    request = sent(
        "<form method=post enctype=multipart/form-data><input name=a><input type=file name=f></form>", {"a": "b"}
    )
    boundary = request.content_type.removeprefix("multipart/form-data; boundary=").encode()
    assert request.body == (
        b"--" + boundary + b'\r\nContent-Disposition: form-data; name="a"\r\n\r\nb\r\n'
        b"--" + boundary + b'\r\nContent-Disposition: form-data; name="f"; filename=""\r\n'
        b"Content-Type: application/octet-stream\r\n\r\n\r\n--" + boundary + b"--\r\n"
    )
    plain = sent("<form method=post enctype=text/plain><input name=a></form>", {"a": "b c"})
    assert (plain.body, plain.content_type) == (b"a=b c\r\n", "text/plain")


@pytest.mark.parametrize(
    ("markup", "expected"),
    [  # 4.10.22.4 "Constructing the entry list"
        ("<input name=a value=1><input value=2><input name='' value=3>", [("a", "1")]),
        ("<input name=a value=1 disabled><input name=b value=2 readonly>", [("b", "2")]),
        ("<input type=checkbox name=a><input type=checkbox name=b checked>", [("b", "on")]),
        ("<input type=radio name=a value=1><input type=radio name=a value=2 checked>", [("a", "2")]),
        ("<input type=reset name=a><input type=button name=b><button type=button name=c>", []),
        ("<button name=a value=1>x</button><button name=b value=2>y</button>", [("a", "1")]),
        ("<button disabled name=a value=1>x</button><input type=submit name=b value=2>", [("b", "2")]),
        ("<input type=image name=go>", [("go.x", "0"), ("go.y", "0")]),
        ("<input type=file name=f>", [("f", "")]),
        ("<input type=hidden name=_charset_ value=x>", [("_charset_", "UTF-8")]),
        ("<datalist><input name=a value=1></datalist><input name=b value=2>", [("b", "2")]),
        ("<fieldset disabled><input name=a value=1></fieldset>", []),
        ("<textarea name=t>one\ntwo</textarea>", [("t", "one\r\ntwo")]),
        ("<input name=t value='one&#10;two'>", [("t", "onetwo")]),  # 4.10.5.1.2, value sanitization
        ("<input type=hidden name=t value='one&#10;two'>", [("t", "one\r\ntwo")]),
        ("<input type=number name=n value='1,5'><input type=number name=m value=-1.5e3>", [("n", ""), ("m", "-1.5e3")]),
        ("<input type=url name=u value=' http://a&#10; '>", [("u", "http://a")]),
        # 4.10.7: a select of one line shows its first option that is not disabled
        ("<select name=s><option disabled>a<option value=b>B<option>c</select>", [("s", "b")]),
        ("<select name=s><option selected>a<option selected>b</select>", [("s", "b")]),
        ("<select name=s multiple><option selected>a<option>b<option selected>c</select>", [("s", "a"), ("s", "c")]),
        ("<select name=s multiple><option>a</select>", []),
        ("<select name=s><optgroup disabled><option selected>a</optgroup><option>b</select>", []),
        ("<select name=s></select>", []),
    ],
)
def test_what_is_sent_of_an_untouched_form(markup: str, expected: list[tuple[str, str]]) -> None:
    assert pairs(markup) == expected


@pytest.mark.parametrize(
    ("markup", "values", "expected"),
    [
        ("<input name=a value=old>", {"a": ""}, [("a", "")]),
        ("<textarea name=t>old</textarea>", {"t": "x\ry"}, [("t", "x\r\ny")]),
        ("<input type=checkbox name=a checked>", {"a": ""}, []),
        (
            "<input type=hidden name=a value=0><input type=checkbox name=a value=1>",
            {"a": "1"},
            [("a", "0"), ("a", "1")],
        ),
        ("<input type=checkbox name=a value=1 checked><input type=checkbox name=a value=2>", {"a": "2"}, [("a", "2")]),
        ("<input type=radio name=a value=1 checked><input type=radio name=a value=2>", {"a": "2"}, [("a", "2")]),
        ("<select name=s><option value=1>one<option value=2>two</select>", {"s": "2"}, [("s", "2")]),
        ("<select name=s><option value=1>one<option value=2>two</select>", {"s": "two"}, [("s", "2")]),
        ("<select name=s><option value=a&nbsp;b>A</select>", {"s": "a\u00a0b"}, [("s", "a\u00a0b")]),
    ],
)
def test_what_is_sent_of_what_was_filled_in(
    markup: str, values: dict[str, str], expected: list[tuple[str, str]]
) -> None:
    assert pairs(markup, values) == expected


@pytest.mark.parametrize(
    ("markup", "values", "reason"),
    [
        ("<input name=a>", {"b": "x"}, "the form has no control named 'b'"),
        ("<input name=a type=hidden>", {"a": "x"}, "nothing can be typed into 'a' (hidden)"),
        ("<input name=a disabled>", {"a": "x"}, "nothing can be typed into 'a' (text)"),
        ("<input name=a readonly>", {"a": "x"}, "nothing can be typed into 'a' (text)"),
        ("<input name=a type=file>", {"a": "x"}, "nothing can be typed into 'a' (file)"),
        ("<select name=s><option>a<option disabled>b</select>", {"s": "b"}, "select 's' does not offer 'b'"),
        ("<input type=radio name=r value=1>", {"r": "2"}, "radio 'r' has no '2'"),
        ("<input type=radio name=r value=1 checked>", {"r": ""}, "radio 'r' has no ''"),
        ("<input type=checkbox name=c>", {"c": "1"}, "checkbox 'c' has no '1'"),
    ],
)
def test_what_no_person_could_fill_in(markup: str, values: dict[str, str], reason: str) -> None:
    assert refused(markup, values) == reason


@pytest.mark.parametrize(
    "markup", ["<form method=dialog>", "<form action='mailto:a@b'>", "<form action='javascript:x'>"]
)
def test_forms_that_send_nothing(markup: str) -> None:
    request = fill(page_of(markup).forms[0], {})
    assert isinstance(request, NotFound)
    assert "sends nothing" in request.reason


@pytest.mark.parametrize(
    ("typed", "maxlength", "taken"),
    [  # 4.10.18.3: maxlength counts UTF-16 code units, so an emoji counts two
        ("k" * 63, 63, "k" * 63),
        ("k" * 63, 62, "k" * 62),
        ("ü" * 5, 4, "ü" * 4),
        ("a😀b", 3, "a😀"),
        ("a😀b", 2, "a"),
        ("abc", 0, ""),
    ],
)
def test_what_is_typed_is_cut_at_maxlength_and_said(typed: str, maxlength: int, taken: str) -> None:
    request = sent(f"<form method=post><input name=key maxlength={maxlength}></form>", {"key": typed})
    assert parse_qsl(request.body.decode(), keep_blank_values=True) == [("key", taken)]
    cut = f"'key' takes {taken!r} instead of {typed!r} (maxlength {maxlength})"
    assert request.notes == (() if taken == typed else (cut,))


def test_maxlength_does_not_cut_what_stands_there() -> None:
    assert pairs("<input name=a value=abcdef maxlength=3>") == [("a", "abcdef")]


def test_a_number_control_that_takes_no_words_says_so() -> None:
    request = sent("<form method=post><input type=number name=n></form>", {"n": "warm"})
    assert request.body == b"n="
    assert request.notes == ("'n' takes '' instead of 'warm' (type number)",)


def test_the_pages_encoding_is_used() -> None:
    page = read_page(b"<form method=post><input name=a></form>", "text/html", URL)
    request = fill(page.forms[0], {"a": "é\u2603"})
    assert isinstance(request, FormRequest)
    assert request.body == b"a=%E9%26%239731%3B"  # WHATWG URL, "percent-encode after encoding"


def test_a_button_may_send_elsewhere_and_otherwise() -> None:
    # 4.10.18.6: formaction, formmethod, formenctype
    page = page_of(
        "<form method=post><input name=a value=1><button name=go value=save>Save</button>"
        "<button formaction=/reset formmethod=get name=go value=reset>Factory reset</button></form>"
    )
    reset = find_control(page, ControlRule(label="factory  reset"))
    assert isinstance(reset, Control)
    assert fill(page.forms[0], {}, button=reset) == FormRequest("GET", "http://203.0.113.1/reset?a=1&go=reset", b"", "")


FORM = (
    "<form id=search><input name=q aria-label=Search></form>"
    "<form id=settings><label>Unit  Name:<input name=unit_name></label><label>Key<input name=key></label>"
    "<label>Key<input name=update_key></label><label>On<input type=radio name=r value=1></label>"
    "<label>Off<input type=radio name=r value=0></label>"
    "<input type=hidden name=c value=0><label>Reports<input type=checkbox name=c></label></form>"
)


@pytest.mark.parametrize(
    ("rule", "name", "kind"),
    [
        (ControlRule(name="unit_name"), "unit_name", "text"),
        (ControlRule(label="unit name"), "unit_name", "text"),
        (ControlRule(label=" UNIT\n NAME : "), "unit_name", "text"),
        (ControlRule(name="key", label="Key"), "key", "text"),
        (ControlRule(name="r"), "r", "radio"),
        (ControlRule(label="off"), "r", "radio"),
        (ControlRule(name="c"), "c", "checkbox"),
        (ControlRule(name="q"), "q", "text"),
    ],
)
def test_a_control_is_found(rule: ControlRule, name: str, kind: str) -> None:
    found = find_control(page_of(FORM), rule)
    assert isinstance(found, Control)
    assert (found.name, found.kind) == (name, kind)


@pytest.mark.parametrize(
    ("rule", "reason"),
    [
        (ControlRule(name="Unit_name"), "the page has no control named 'Unit_name'"),
        (ControlRule(label="Name"), "the page has no control labelled 'Name'"),
        (ControlRule(label="Key"), "the page has 2 times a control labelled 'Key'"),
    ],
)
def test_a_control_is_not_found(rule: ControlRule, reason: str) -> None:
    found = find_control(page_of(FORM), rule)
    assert found == NotFound(reason)
    assert not found


def test_a_rule_names_something() -> None:
    with pytest.raises(ValueError, match="give one"):
        ControlRule()


def test_the_form_with_every_control_is_taken() -> None:
    page = page_of(FORM)
    found = find_form(page, [ControlRule(name="key"), ControlRule(label="reports")])
    assert not isinstance(found, NotFound)
    assert found.name == "settings"
    assert find_form(page, [ControlRule(name="key"), ControlRule(name="q")]) == NotFound(
        "the page has no control named 'q'"
    )
    assert find_form(page_of("<input name=key>"), [ControlRule(name="key")]) == NotFound("the page has no form")


def test_a_page_is_filled_in_by_names_and_labels() -> None:
    request = fill_page(page_of(FORM), {"key": "k", "unit name": "vent", "off": "0"})
    assert isinstance(request, FormRequest)
    assert request.url.endswith("?unit_name=vent&key=k&update_key=&r=0&c=0")
    assert fill_page(page_of(FORM), {"no such": "x"}) == NotFound("the page has no control labelled 'no such'")


def test_freely_sends_past_the_page_s_own_limits() -> None:
    # What a script sends that reads only the names of controls; a browser would cut or drop these.
    markup = (
        "<form method=post><input name=a maxlength=3 value=x><input name=b type=number><input name=c value=1></form>"
    )
    form = page_of(markup).forms[0]
    request = fill(form, {"a": "12345", "b": "12abc"}, freely=True)
    assert isinstance(request, FormRequest)
    assert parse_qsl(request.body.decode(), keep_blank_values=True) == [("a", "12345"), ("b", "12abc"), ("c", "1")]
    assert request.notes == ()
    typed = fill(form, {"a": "12345", "b": "12abc"})
    assert isinstance(typed, FormRequest)
    assert parse_qsl(typed.body.decode(), keep_blank_values=True) == [("a", "123"), ("b", ""), ("c", "1")]
