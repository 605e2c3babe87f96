"""Which labels of a page stand beside values that are known: how a status page nobody described yet is recognised."""

from collections.abc import Mapping

from hil.page.page import Page


def labels_of(page: Page, known: Mapping[str, str]) -> dict[str, str]:
    """The first label beside each known value, by what the value is; a value that is nowhere, or empty, is left out."""
    found: dict[str, str] = {}
    for what, value in known.items():
        label = next((label for label, stated in page.pairs if value and stated.strip() == value and label), None)
        if label is not None:
            found[what] = label
    return found


def labels_with(page: Page, part: str) -> list[str]:
    """Labels beside values that hold a text and more than that."""
    return [label for label, stated in page.pairs if part and part in stated and stated.strip() != part]


def numbered_labels(page: Page) -> dict[str, str]:
    """Label and value of each pair whose value holds a digit: what may count seconds."""
    return {label: stated for label, stated in page.pairs if label and any(c.isdigit() for c in stated)}
