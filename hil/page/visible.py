"""The text of a page as a person sees it, with the scripts off and the styles unread."""

import re
from collections.abc import Iterator
from xml.etree.ElementTree import Element

from hil.page.tree import name_of

# Elements that are never shown (HTML Standard, 15.3.1 "Hidden elements"), and media.
_UNSEEN = (
    *("area", "audio", "base", "canvas", "datalist", "head", "iframe", "link", "meta", "noembed", "noframes", "object"),
    *("param", "rp", "script", "style", "template", "title", "video"),
)
# Elements that begin and end a line (HTML Standard, 15.3 "Non-replaced elements").
_BLOCK = (
    *(
        "address",
        "article",
        "aside",
        "blockquote",
        "body",
        "br",
        "center",
        "dd",
        "details",
        "dialog",
        "dir",
        "div",
        "dl",
    ),
    *(
        "dt",
        "fieldset",
        "figcaption",
        "figure",
        "footer",
        "form",
        "h1",
        "h2",
        "h3",
        "h4",
        "h5",
        "h6",
        "header",
        "hgroup",
    ),
    *("hr", "html", "legend", "li", "main", "menu", "nav", "ol", "optgroup", "option", "p", "pre", "search", "section"),
    *("summary", "table", "tbody", "tfoot", "thead", "tr", "ul"),
)
_CELL = frozenset({"td", "th"})
_AS_WRITTEN = frozenset({"pre", "textarea", "listing", "xmp", "plaintext"})
CONTROLS = frozenset({"button", "input", "select", "textarea"})
_BLANKS = " \t\n\f\r"  # ASCII whitespace; a non-breaking blank is a letter like any other


def visible_text(element: Element, *, without: frozenset[str] = frozenset()) -> str:
    """Give the text in an element: blanks run together, a line a block, no empty lines.

    Args:
        element: Where to begin. It is taken itself whatever its name is.
        without: Names of elements below it whose text is left out.
    """
    flow = "".join(_flow(element, without))
    lines = (re.sub(" ?\t ?", "\t", re.sub(" +", " ", line)).strip(_BLANKS) for line in flow.split("\n"))
    return "\n".join(line for line in lines if line)


def one_line(element: Element, *, without: frozenset[str] = frozenset()) -> str:
    """Give the text in an element on one line, as a label or a table's cell is read."""
    return re.sub(rf"[{_BLANKS}]+", " ", visible_text(element, without=without)).strip(_BLANKS)


def _flow(top: Element, without: frozenset[str]) -> Iterator[str]:
    # A stack of our own: rubbish nests deeper than Python calls.
    waiting: list[str | tuple[Element, bool]] = [(top, False)]
    while waiting:
        item = waiting.pop()
        if isinstance(item, str):
            yield item
            continue
        element, as_written = item
        name = name_of(element)
        if element is not top and (not name or name in without or _unseen(element, name)):
            continue
        as_written = as_written or name in _AS_WRITTEN
        edge = "\n" if name in _BLOCK else "\t" if name in _CELL else ""
        waiting.append(edge)
        for child in reversed(element):
            waiting += [_laid(child.tail, as_written), (child, as_written)]
        waiting += [_laid(element.text, as_written), edge]


def _unseen(element: Element, name: str) -> bool:
    style = re.sub(r"\s", "", element.get("style", "")).lower()
    return name in _UNSEEN or "hidden" in element.attrib or "display:none" in style or "visibility:hidden" in style


def _laid(text: str | None, as_written: bool) -> str:
    if text is None or as_written:
        return text or ""
    return re.sub(rf"[{_BLANKS}]+", " ", text)
