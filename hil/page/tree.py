"""From the bytes of a page to an element tree, as a browser builds it.

html5lib follows the parsing algorithm of the HTML Standard, but has no bounds:
some hundred kilobytes of nested, misplaced or attribute-laden rubbish keep it busy
for minutes. So a page that goes past a limit is read up to that point and no
further. html5lib also knows a form's controls only while it
parses (`<table><form><tr>` leaves the form empty in the tree), so the builder
notes for each element the form that was open.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from html5lib import HTMLParser
from html5lib._tokenizer import HTMLTokenizer
from html5lib.constants import _ReparseException
from html5lib.treebuilders import base, getTreeBuilder

# Chromium builds no deeper tree either (kMaximumHTMLParserDOMTreeDepth; from memory).
DEPTH_LIMIT = 512
ATTRIBUTE_LIMIT = 256
MISPLACED_LIMIT = 4096  # nodes put before a table because they cannot stand in it
SIZE_LIMIT = 256 << 10  # octets; no page of a small board comes near

# html5lib promises to take anything; these are what its own bugs would raise.
_FAULTS = (AssertionError, AttributeError, LookupError, RecursionError, TypeError, ValueError)


@dataclass(frozen=True)
class Tree:
    """A parsed page: its root, each element's parent and open form, and what went wrong."""

    root: Element
    parents: dict[Element, Element]
    open_forms: dict[Element, Element]
    encoding: str
    note: str

    def find(self, *names: str) -> Iterator[Element]:
        """Give the elements so named, in document order."""
        return (element for element in self.root.iter() if name_of(element) in names)

    def above(self, element: Element) -> Iterator[Element]:
        """Give the elements around this one, the nearest first."""
        while (parent := self.parents.get(element)) is not None:
            yield parent
            element = parent


def name_of(element: Element) -> str:
    """Give the element's name; of a comment, none."""
    tag: object = element.tag  # a function in a comment
    return tag if isinstance(tag, str) else ""


class _TooMuchError(Exception):
    """The page goes past a limit of this reader."""


class _Builder(base.TreeBuilder):
    """Notes the open form of each element and stops at the limits."""

    open_forms: dict[Element, Element]
    misplaced: int

    def reset(self) -> None:
        super().reset()
        self.open_forms = {}
        self.misplaced = 0

    def createElement(self, token: object) -> object:  # noqa: N802
        return self._noted(super().createElement(token))  # type: ignore[no-untyped-call]

    def insertElementNormal(self, token: object) -> object:  # noqa: N802
        return self._noted(super().insertElementNormal(token))  # type: ignore[no-untyped-call]

    def getTableMisnestedNodePosition(self) -> object:  # noqa: N802
        self.misplaced += 1
        if self.misplaced > MISPLACED_LIMIT:
            raise _TooMuchError(f"more than {MISPLACED_LIMIT} misplaced parts in its tables")
        return super().getTableMisnestedNodePosition()  # type: ignore[no-untyped-call]

    def _noted(self, made: object) -> object:
        if len(self.openElements) > DEPTH_LIMIT:
            raise _TooMuchError(f"nested deeper than {DEPTH_LIMIT} elements")
        if self.formPointer is not None:
            self.open_forms[_element(made)] = _element(self.formPointer)
        return made


def _element(node: object) -> Element:
    element: object = vars(node)["_element"]
    if not isinstance(element, Element):
        raise TypeError(f"html5lib gave a node without an element: {node!r}")
    return element


class _Tokenizer(HTMLTokenizer):
    """Stops at the attribute limit: html5lib compares each attribute with all before it."""

    def attributeNameState(self) -> bool:  # noqa: N802
        if self.currentToken is not None and len(self.currentToken["data"]) > ATTRIBUTE_LIMIT:
            raise _TooMuchError(f"a tag with more than {ATTRIBUTE_LIMIT} attributes")
        return bool(super().attributeNameState())


class _Parser(HTMLParser):
    """Parses with our tokenizer; html5lib has no public way to hand one in."""

    def _parse(
        self,
        stream: bytes,
        innerHTML: object,  # noqa: N803
        container: str,
        *,
        transport_encoding: str | None,
    ) -> None:
        self.innerHTMLMode = innerHTML
        self.container = container
        self.scripting = False
        # No guessing of encodings: it would depend on what else is installed.
        self.tokenizer = _Tokenizer(stream, parser=self, transport_encoding=transport_encoding, useChardet=False)
        self.reset()
        try:
            self.mainLoop()
        except _ReparseException:  # the page names another encoding further down
            self.reset()
            self.mainLoop()


def grow(body: bytes, charset: str | None) -> Tree:
    """Parse a page; `charset` is what its content type says, if anything. Takes any octets."""
    note = f"only the first {SIZE_LIMIT} octets were read" if len(body) > SIZE_LIMIT else ""
    parser = _Parser(tree=_builder_class(), namespaceHTMLElements=False)
    try:
        parser.parse(body[:SIZE_LIMIT], transport_encoding=charset)
    except _TooMuchError as problem:
        note = f"read in part: {problem}"
    except _FAULTS as problem:
        note = f"read in part: the parser failed ({type(problem).__name__})"
    root: object = parser.tree.getDocument()
    if not isinstance(root, Element):
        root = Element("html")
    forms: dict[Element, Element] = parser.tree.open_forms
    parents = {child: parent for parent in root.iter() for child in parent}
    return Tree(root, parents, forms, parser.documentEncoding or "utf-8", note)


def _builder_class() -> type[base.TreeBuilder]:
    # The etree builder's class is made at run time: put ours in front of it.
    return type("Builder", (_Builder, getTreeBuilder("etree")), {})
