"""What a page of the unit holds, as plain records.

All text is as the unit gave it: escapes and control characters are kept. Show it
only through `hil.core.text.printable`.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field


@dataclass(frozen=True)
class NotFound:
    """What was asked for is not on the page, and why; it is false."""

    reason: str

    def __bool__(self) -> bool:
        """A thing that was not found counts as nothing."""
        return False


@dataclass(frozen=True)
class Option:
    """One choice of a select control."""

    value: str
    text: str
    selected: bool = False
    disabled: bool = False


@dataclass(frozen=True)
class Target:
    """Where a form, or a button that says otherwise, sends to; None: not said."""

    action: str | None = None
    method: str | None = None
    enctype: str | None = None


@dataclass(frozen=True)
class Control:
    """One control of a form.

    `kind` is the type of an input ("text", "password", "hidden", "checkbox", ...),
    "select", "textarea", or a button's "submit", "reset", "button". `value` is
    what it holds now (of a checkbox or radio button: what it sends if checked).
    `maxlength` counts UTF-16 code units. `disabled` counts a fieldset's too.
    `minimum` and `maximum` are what the page states of a number, if it does; `step` is as written. Where `value` was read
    at another address, `own` is what the control itself holds, and sends untouched.
    """

    name: str
    kind: str
    value: str
    label: str = ""
    checked: bool = False
    options: tuple[Option, ...] = ()
    maxlength: int | None = None
    minimum: float | None = None
    maximum: float | None = None
    required: bool = False
    disabled: bool = False
    read_only: bool = False
    multiple: bool = False
    target: Target = Target()
    placeholder: str = ""
    step: str = ""
    own: str | None = None


@dataclass(frozen=True)
class Form:
    """A form: an absolute action, a lower-case method and enctype, its controls.

    `encoding` is the one a browser would send in (WHATWG name, such as "utf-8").
    """

    action: str
    method: str
    enctype: str
    encoding: str
    controls: tuple[Control, ...]
    name: str = ""


@dataclass(frozen=True)
class Link:
    """A reference to another address: an absolute one, the element it sat in, its text."""

    url: str
    element: str
    text: str = ""


@dataclass(frozen=True)
class Page:
    """One page as read.

    `pairs` are labels and values of description lists and tables, in order;
    `loose` are controls that belong to no form; `note` says what could not be
    read, if anything. Of JSON, an object is a form and its keys are labels too.
    """

    url: str
    is_html: bool
    encoding: str = "utf-8"
    title: str = ""
    text: str = ""
    forms: tuple[Form, ...] = ()
    loose: tuple[Control, ...] = ()
    pairs: tuple[tuple[str, str], ...] = ()
    links: tuple[Link, ...] = field(default=())
    note: str = ""
    is_json: bool = False

    def controls(self) -> Iterator[Control]:
        """Give every control, those of the forms first."""
        for form in self.forms:
            yield from form.controls
        yield from self.loose


def shown_by(control: Control) -> str:
    """Give what a control shows as its value; a checkbox that is off shows none."""
    return "" if control.kind == "checkbox" and not control.checked else control.value


def same_label(one: str, other: str) -> bool:
    """Tell whether two labels read alike: letter case, blanks and a last colon do not count."""
    return _plain(one) == _plain(other)


def _plain(label: str) -> str:
    return re.sub(r"\s+", " ", label).strip().removesuffix(":").rstrip().casefold()


def value_of(page: Page, label: str) -> str | None:
    """Give the first value the page shows under this label; None if it shows none."""
    return next((value for name, value in page.pairs if same_label(name, label)), None)
