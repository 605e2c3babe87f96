"""Labels recognised by known values, on lists and tables as the HTML Standard has them (4.4.9 `dl`, 4.9.1 `table`)."""

from hil.page.read import Page, read_page
from hil.page.stated import labels_of, labels_with, numbered_labels


def page_of(markup: str) -> Page:
    return read_page(f"<!DOCTYPE html><body>{markup}".encode(), "text/html; charset=utf-8", "http://203.0.113.1/now")


STATUS = page_of(
    "<dl><dt>Stand</dt><dd>1.4.0</dd><dt>IP</dt><dd>198.51.100.2</dd><dt>Läuft seit</dt><dd>12 s</dd></dl>"
    "<table><tr><th>Netz<td>bench-1</tr><tr><td>Gerät<td>MV2-00007 (rev C)</tr></table>"
)
KNOWN = {"version": "1.4.0", "address": "198.51.100.2", "network": "bench-1", "serial_number": "MV2-00007"}


def test_labels_beside_known_values() -> None:
    assert labels_of(STATUS, KNOWN) == {"version": "Stand", "address": "IP", "network": "Netz"}


def test_a_value_with_more_text_is_named_apart() -> None:
    assert labels_with(STATUS, "MV2-00007") == ["Gerät"]
    assert labels_with(STATUS, "1.4.0") == []


def test_nothing_known_finds_nothing() -> None:
    assert labels_of(STATUS, {"version": ""}) == {}
    assert labels_with(STATUS, "") == []


def test_what_may_count_seconds() -> None:
    assert numbered_labels(STATUS)["Läuft seit"] == "12 s"
    assert "Netz" in numbered_labels(STATUS)
