"""Reads a page of the unit: forms, what a person sees, labelled values, links.

Takes whatever octets a unit sends and never fails: what cannot be read as HTML
gives a page with `is_html` false.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import chain
from urllib.parse import urljoin
from xml.etree.ElementTree import Element

import webencodings

from hil.page.controls import read_forms
from hil.page.json_form import is_json, json_form, read_json
from hil.page.page import Link, NotFound, Page, value_of
from hil.page.tree import Tree, grow, name_of
from hil.page.visible import one_line, visible_text

__all__ = ["Link", "Page", "read_page", "value_of"]

_REFERENCES = {"a": "href", "area": "href", "link": "href", "script": "src", "img": "src", "iframe": "src"}
# What a browser takes for HTML when nothing says so (WHATWG MIME Sniffing, 7.1).
_LOOKS_LIKE_HTML = re.compile(
    rb"[\t\n\f\r ]*<(?:!DOCTYPE HTML|HTML|HEAD|SCRIPT|IFRAME|H1|DIV|FONT|TABLE|A|STYLE|TITLE|B|BODY|BR|P|!--)[ >]",
    re.IGNORECASE,
)


def read_page(body: bytes, content_type: str, url: str) -> Page:
    """Read the body of an answer as a browser would.

    Args:
        body: Octets, already freed of transfer and content encodings.
        content_type: The header's value; empty if there was none.
        url: Where the page came from, after redirects.
    """
    kind, charset = _kind_and_charset(content_type)
    if kind in ("text/html", "application/xhtml+xml") or (not kind and _LOOKS_LIKE_HTML.match(body)):
        return _read_html(grow(body, charset), url)
    page = Page(url, is_html=False, encoding=charset or "utf-8", text=_plain_text(body, kind, charset))
    return _read_json(page, body) if is_json(kind) else page


def _read_json(page: Page, body: bytes) -> Page:
    value = read_json(body)
    if isinstance(value, NotFound):
        return replace(page, note=value.reason)
    form = json_form(value, page.url)
    if form is None:
        return replace(page, is_json=True)
    pairs = tuple((c.name, str(c.checked).lower() if c.kind == "checkbox" else c.value) for c in form.controls)
    return replace(page, is_json=True, forms=(form,), pairs=pairs)


def _read_html(tree: Tree, url: str) -> Page:
    base = _resolved(url, next((base.get("href", "") for base in tree.find("base") if "href" in base.attrib), ""))

    def resolve(address: str) -> str:
        return _resolved(base, address) if address else url

    forms, loose = read_forms(tree, resolve)
    title = next(tree.find("title"), None)
    return Page(
        url,
        is_html=True,
        encoding=tree.encoding,
        title="" if title is None else " ".join("".join(title.itertext()).split()),
        text=visible_text(tree.root),
        forms=forms,
        loose=loose,
        pairs=tuple(chain.from_iterable(_pairs(element) for element in tree.find("dl", "table"))),
        links=tuple(
            Link(_resolved(base, element.get(_REFERENCES[name_of(element)], "")), name_of(element), one_line(element))
            for element in tree.find(*_REFERENCES)
            if _REFERENCES[name_of(element)] in element.attrib
        ),
        note=tree.note,
    )


def _pairs(element: Element) -> Iterator[tuple[str, str]]:
    return _list_pairs(element) if name_of(element) == "dl" else _table_pairs(element)


def _list_pairs(description_list: Element) -> Iterator[tuple[str, str]]:
    terms: list[str] = []
    described = False
    for element in description_list.iter():
        if name_of(element) == "dt":
            terms = [one_line(element)] if described else [*terms, one_line(element)]
            described = False
        elif name_of(element) == "dd":
            yield from ((term, one_line(element)) for term in terms)
            described = True


def _table_pairs(table: Element) -> Iterator[tuple[str, str]]:
    """Read rows of two cells as label and value, wider rows by the table's first row of headings."""
    headings: list[str] = []
    for row in _rows(table):
        cells = [cell for cell in row if name_of(cell) in ("td", "th")]
        texts = [one_line(cell) for cell in cells]
        if cells and all(name_of(cell) == "th" for cell in cells):
            headings = headings or texts
        elif len(texts) == 2:
            yield texts[0], texts[1]
        elif len(texts) == len(headings):
            yield from zip(headings, texts, strict=True)


def _rows(table: Element) -> Iterator[Element]:
    for child in table:
        if name_of(child) == "tr":
            yield child
        elif name_of(child) in ("thead", "tbody", "tfoot"):
            yield from (row for row in child if name_of(row) == "tr")


def _resolved(base: str, address: str) -> str:
    # A browser strips blanks and controls at the ends, and line ends and tabs within (WHATWG URL, 4.4).
    cleaned = re.sub(r"[\t\n\r]", "", address.strip("".join(map(chr, range(0x21)))))
    try:
        return urljoin(base, cleaned)
    except ValueError:  # such as an IPv6 address without its bracket
        return cleaned


def _kind_and_charset(content_type: str) -> tuple[str, str | None]:
    kind, _, rest = content_type.partition(";")
    found = re.search(r'charset\s*=\s*"?([^\s;"]+)', rest, re.IGNORECASE)
    return kind.strip().lower(), found[1] if found else None


def _plain_text(body: bytes, kind: str, charset: str | None) -> str:
    if not (kind.startswith("text/") or kind.endswith(("json", "xml", "javascript"))):
        return ""
    encoding = webencodings.lookup(charset or "utf-8")
    return webencodings.decode(body, encoding or webencodings.UTF8, "replace")[0]
