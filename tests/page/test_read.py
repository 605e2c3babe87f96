"""Pages read as a browser reads them: html5lib (the HTML Standard's parsing algorithm) is the reader.

What a form owns, what a label names and what is visible are checked against the HTML
Standard, sections named beside each case.
"""

import pytest

from hil.page.page import Control, Option
from hil.page.read import Page, read_page, value_of

URL = "http://203.0.113.1/settings?x=1"


def page_of(markup: str, content_type: str = "text/html; charset=utf-8") -> Page:
    return read_page(markup.encode("utf-8", "surrogateescape"), content_type, URL)


SETUP = """<!DOCTYPE html><html><head><title> Mossgate
 vent </title><style>p{color:red}</style></head><body>
<h1>Set up</h1><script>var secret = 'never shown'</script>
<form action="/save" method="POST">
 <label for="o">Vent opens at (°C)</label> <input id="o" name="open_at" type="number" value="24" required>
 <label>Unit <b>name</b>: <input name="unit_name" maxlength="32" value="vent &amp; fan"></label>
 <label>Network <select name="network"><option value="">choose</option><option selected>Allotment</option>
   <option value="b&quot;x" disabled>Shed</option></select></label>
 <label>Key <input type="PASSWORD" name="key"></label>
 <label><input type="checkbox" name="report" checked> Send reports</label>
 <input type="hidden" name="token" value="t-17">
 <textarea name="note" aria-label="Note">
line one
line two</textarea>
 <button name="do" value="save">Save</button>
</form><p hidden>not this</p><p style="display: none">nor this</p><a href="now">Status</a></body></html>"""


def test_a_setup_form() -> None:
    page = page_of(SETUP)
    assert page.is_html
    assert page.title == "Mossgate vent"
    (form,) = page.forms
    assert (form.action, form.method, form.enctype) == (
        "http://203.0.113.1/save",
        "post",
        "application/x-www-form-urlencoded",
    )
    assert form.controls == (
        Control("open_at", "number", "24", "Vent opens at (°C)", required=True),
        Control("unit_name", "text", "vent & fan", "Unit name:", maxlength=32),
        Control(
            "network",
            "select",
            "Allotment",
            "Network",
            options=(
                Option("", "choose"),
                Option("Allotment", "Allotment", selected=True),
                Option('b"x', "Shed", disabled=True),
            ),
        ),
        Control("key", "password", "", "Key"),
        Control("report", "checkbox", "on", "Send reports", checked=True),
        Control("token", "hidden", "t-17"),
        Control("note", "textarea", "line one\nline two", "Note"),
        Control("do", "submit", "save", "Save"),
    )


def test_visible_text_leaves_out_what_is_not_seen() -> None:
    text = page_of(SETUP).text
    for hidden in ("never shown", "color:red", "not this", "nor this", "t-17", "Mossgate"):
        assert hidden not in text
    assert text.startswith("Set up\nVent opens at (°C)")
    assert page_of("<p>a\n  b<br>c</p><div>d</div><pre>e\n  f</pre>").text == "a b\nc\nd\ne\nf"


def test_links_are_absolute() -> None:
    page = page_of(
        '<base href="http://203.0.113.1/a/"><a href="b?c#d">go</a><img src="//198.51.100.7/x.png">'
        '<script src=" /s\n.js "></script><a>none</a>'
    )
    assert [(link.element, link.url, link.text) for link in page.links] == [
        ("a", "http://203.0.113.1/a/b?c#d", "go"),
        ("img", "http://198.51.100.7/x.png", ""),
        ("script", "http://203.0.113.1/s.js", ""),
    ]


def test_labelled_values_of_lists_and_tables() -> None:
    page = page_of(
        "<dl><dt>Vent position</dt><dd>40 %</dd><div><dt>Version:<dt>Build<dd>1.4.2</div><dd>again</dl>"
        "<table><tr><th>Signal<td>-61 dBm<tr><th>Network<th>Address<tr><td>Allotment<td>198.51.100.23</table>"
        "<table><thead><tr><th>Time<th>What<th>Who</thead><tr><td>9:00<td>open<td>sun</table>"
    )
    assert page.pairs == (
        ("Vent position", "40 %"),
        ("Version:", "1.4.2"),
        ("Build", "1.4.2"),
        ("Version:", "again"),
        ("Build", "again"),
        ("Signal", "-61 dBm"),
        ("Allotment", "198.51.100.23"),
        ("Time", "9:00"),
        ("What", "open"),
        ("Who", "sun"),
    )
    assert value_of(page, " vent\nPOSITION ") == "40 %"
    assert value_of(page, "version") == "1.4.2"
    assert value_of(page, "Humidity") is None


def test_a_form_within_a_table_keeps_its_controls() -> None:
    # HTML Standard, 13.2.6.4.9 "in table": the form element is left empty, its pointer stays set
    page = page_of("<table><form action=/s><tr><td><input name=a></td></tr></form><tr><td><input name=b></table>")
    assert [control.name for control in page.forms[0].controls] == ["a"]
    assert [control.name for control in page.loose] == ["b"]


@pytest.mark.parametrize("around", ["{}", "<table><tr><td>{}</table>", "<table><caption>{}</table>", "<p><b>{}</b>"])
def test_the_first_line_end_of_a_text_area_does_not_count(around: str) -> None:
    # HTML Standard, 13.2.6.4.7 "in body", start tag textarea; seen so in Chromium
    (control,) = page_of(around.format("<textarea name=t>\n\none\ntwo &amp;</textarea>")).controls()
    assert control.value == "\none\ntwo &"


def test_controls_belong_where_they_say() -> None:
    # HTML Standard, 4.10.17.3 "Association of controls and forms"
    page = page_of(
        "<form id=f></form><form id=g><input name=a form=f><input name=b><input name=c form=none></form>"
        "<input name=d form=g><input name=e>"
    )
    assert [[control.name for control in form.controls] for form in page.forms] == [["a"], ["b", "d"]]
    assert [control.name for control in page.loose] == ["c", "e"]
    assert [control.name for control in page.controls()] == ["a", "b", "d", "c", "e"]


def test_what_is_wrong_or_missing_has_the_standards_default() -> None:
    # HTML Standard, 4.10.18.6: invalid method and enctype; 4.10.5: unknown input type; 4.10.6: button
    page = page_of(
        "<form method=PUT enctype=json><input type=fancy name=a maxlength=-3><button name=b>Go</button></form>"
    )
    (form,) = page.forms
    assert (form.action, form.method, form.enctype) == (URL, "get", "application/x-www-form-urlencoded")
    assert form.controls == (Control("a", "text", ""), Control("b", "submit", "", "Go"))


def test_disabled_fieldsets_but_for_their_first_legend() -> None:
    # HTML Standard, 4.10.15 and 4.10.18.5
    page = page_of(
        "<form><fieldset disabled><legend><input name=a></legend><legend><input name=b></legend><p><input name=c>"
        "</fieldset><input name=d disabled></form>"
    )
    assert {control.name: control.disabled for control in page.controls()} == {
        "a": False,
        "b": True,
        "c": True,
        "d": True,
    }


def test_labels_by_other_ways() -> None:
    page = page_of(
        "<p id=p>Vent</p><p id=q>closes at</p><input name=a aria-labelledby='p q'><input name=b aria-label='Key'>"
        "<label for=c>One</label><input id=c name=c><label>Two<textarea name=d>typed</textarea></label>"
        "<input type=submit name=e value='Save it'><label><input type=hidden name=f>Three <input name=g></label>"
    )
    assert {control.name: control.label for control in page.controls()} == {
        "a": "Vent closes at",
        "b": "Key",
        "c": "One",
        "d": "Two",
        "e": "Save it",
        "f": "",
        "g": "Three",
    }


def test_markup_in_labels_and_values_stays_text() -> None:
    page = page_of(
        "<form><label>&lt;script>alert(1)&lt;/script> <i>x</i><input name=a value='&quot;><img src=x onerror=y>'></label></form>"
    )
    (control,) = page.controls()
    assert control.label == "<script>alert(1)</script> x"
    assert control.value == '"><img src=x onerror=y>'
    assert page.links == ()


def test_terminal_escapes_are_kept() -> None:
    page = page_of("<dl><dt>Unit</dt><dd>\x1b[31mred\u202e</dd></dl><form><input name='\x1b]0;x\x07'></form>")
    assert value_of(page, "Unit") == "\x1b[31mred\u202e"
    assert page.forms[0].controls[0].name == "\x1b]0;x\x07"


@pytest.mark.parametrize(
    ("body", "content_type", "encoding", "text"),
    [
        ("ü€".encode(), "text/html; charset=UTF-8", "utf-8", "ü€"),
        (b"<meta charset=iso-8859-1>\xfc\x80", "text/html", "windows-1252", "ü€"),  # WHATWG Encoding: latin1's label
        (b"\xfc", "text/html", "windows-1252", "ü"),  # HTML Standard, 13.2.3.2: the default for western locales
        (b"\xef\xbb\xbf\xc3\xbc", "text/html; charset=ascii", "utf-8", "ü"),  # the byte order mark comes first
        (b"\xff\xfe\xfc\x00", "text/html", "utf-16le", "ü"),
        (b"\xc3\xbc", "text/html; charset=no-such-thing", "windows-1252", "Ã¼"),
    ],
)
def test_encodings(body: bytes, content_type: str, encoding: str, text: str) -> None:
    page = read_page(b"<p>" + body if body[:1] == b"\xfc" else body, content_type, URL)
    assert (page.encoding, page.text) == (encoding, text)


def test_a_form_is_sent_in_the_pages_encoding() -> None:
    # HTML Standard, 4.10.22.5 "Selecting a form submission encoding"
    assert read_page(b"<form><input name=a></form>", "text/html", URL).forms[0].encoding == "windows-1252"
    assert page_of("<form accept-charset='x-none koi8-r'></form>").forms[0].encoding == "koi8-r"
    assert read_page("<form></form>".encode("utf-16"), "text/html", URL).forms[0].encoding == "utf-8"


@pytest.mark.parametrize(
    ("body", "content_type", "is_html", "text"),
    [
        (b'{"vent": 40}', "application/json", False, '{"vent": 40}'),
        (b"<p>shown as it is</p>", "text/plain", False, "<p>shown as it is</p>"),
        (b"\x89PNG\r\n\x1a\n\0", "image/png", False, ""),
        (b"\x00\xff" * 50, "", False, ""),
        (b"  <!doctype html><p>x", "", True, "x"),  # WHATWG MIME Sniffing, 7.1
        (b"<htmlx>", "", False, ""),
        (b"", "text/html", True, ""),
        (b"", "", False, ""),
        (b"x", ";;;===", False, ""),
    ],
)
def test_what_is_html_and_what_is_not(body: bytes, content_type: str, is_html: bool, text: str) -> None:
    page = read_page(body, content_type, URL)
    assert (page.is_html, page.text) == (is_html, text)


HUGE = 1 << 20


@pytest.mark.parametrize(
    ("body", "note"),
    [
        (b"<div>" * (HUGE // 5), "nested deeper than 512"),
        (b"<b>" * (HUGE // 3), "nested deeper than 512"),
        (b"<svg><g>" * (HUGE // 8), "nested deeper than 512"),
        (b"".join(b"<p><b x=%d></p>" % number for number in range(20_000)), "nested deeper than 512"),
        (b"<a " + b" ".join(b"a%x" % number for number in range(100_000)) + b">", "more than 256 attributes"),
        (b"<table>" + b"<br>" * 100_000, "more than 4096 misplaced"),
        (b"<p>x" * (HUGE // 4), "only the first 262144 octets"),
    ],
)
def test_rubbish_made_to_keep_a_parser_busy_is_read_in_part(body: bytes, note: str) -> None:
    page = read_page(b"<form><input name=first></form>" + body, "text/html", URL)
    assert note in page.note
    assert [control.name for control in page.controls()] == ["first"]


@pytest.mark.parametrize(
    "body",
    [
        b"</",
        b"<!",
        b"<!doctype",
        b"<form><form><input",
        b"<select><table><tr><td><select>",
        b"<frameset><form>",
        b"<title>",
        b"<plaintext><form>",
        b"<math><mi><form><input name=a>",
        b"<table><caption><form></table><input>",
        b"<input type='\0' name=\0 value='&#0;&#xD800;&#x110000;'>",
        b"<label><label for=x><input id=x></label>",
        b"<base href='http://[::1'><form action='http://[::1'><a href='//[x'>",
        b"<input maxlength=99999999999999999999>",
        b"<template><form><input></template>",
        b"<svg><title><form></svg><foreignObject>",
        b"<meta charset=utf-16><p>x",
        b"x" * 2000 + b"<meta charset=koi8-r><p>x",
        bytes(range(256)) * 8,
    ],
)
def test_rubbish_of_every_kind_gives_a_page(body: bytes) -> None:
    for cut in range(len(body), 0, -max(1, len(body) // 8)):
        page = read_page(body[:cut], "text/html", URL)
        assert page.is_html
        assert "the parser failed" not in page.note


def test_every_octet_flipped_gives_a_page() -> None:
    whole = SETUP.encode()
    for at in range(0, len(whole), 7):
        broken = bytearray(whole)
        broken[at] ^= 0x1F
        assert read_page(bytes(broken), "text/html", URL).is_html


@pytest.mark.parametrize(
    ("markup", "expected"),
    [  # 4.10.5.1.12 "Number state": min and max are valid floating-point numbers, or say nothing
        ("<input name=a type=number min=10 max='3.6e3'>", (10.0, 3600.0)),
        ("<input name=a type=number min=' 1' max=two>", (None, None)),
        ("<input name=a type=range max=-.5>", (None, -0.5)),
        ("<input name=a type=date min=2026 max=2027>", (None, None)),
        ("<input name=a min=1 max=2>", (None, None)),
    ],
)
def test_the_range_a_page_states_of_a_number(markup: str, expected: tuple[float | None, float | None]) -> None:
    (control,) = page_of(f"<form>{markup}</form>").forms[0].controls
    assert (control.minimum, control.maximum) == expected
