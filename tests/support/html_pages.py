"""Pages of ours, read as a browser would by html5lib, and text that must stay text in them."""

import re
from collections.abc import Iterator
from xml.etree import ElementTree as ET

import html5lib

HTML = "{http://www.w3.org/1999/xhtml}"
HOSTILE = "</style></svg>\"'><script>alert(1)</script><img src=x onerror=alert(1)>{{ 7*7 }}\x1b[2J\x07\u202e&#x3c;"


def tree_of(page: str) -> ET.Element:
    """A page as a tree."""
    tree: ET.Element = html5lib.parse(page, treebuilder="etree")
    return tree


def words_of(tree: ET.Element) -> str:
    """All text of the body, blanks made one."""
    body = tree.find(f"{HTML}body")
    assert body is not None
    return re.sub(r"\s+", " ", " ".join(body.itertext()))


def local_names(tree: ET.Element) -> Iterator[str]:
    """Tags without their name space."""
    return (str(element.tag).rpartition("}")[2] for element in tree.iter())
