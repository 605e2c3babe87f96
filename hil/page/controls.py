"""The forms of a page and their controls, from its element tree.

Which form a control belongs to, what it is called and what it holds follow the
HTML Standard, sections 4.10 "Forms" and 15.3 (owner, labels, states).
"""

import re
from collections.abc import Callable
from xml.etree.ElementTree import Element

import webencodings

from hil.page.page import Control, Form, Option, Target
from hil.page.tree import Tree, name_of
from hil.page.visible import CONTROLS, one_line

_INPUT_TYPES = (
    *("hidden", "text", "search", "tel", "url", "email", "password", "date", "month", "week", "time", "datetime-local"),
    *("number", "range", "color", "checkbox", "radio", "file", "submit", "image", "reset", "button"),
)
_ENCTYPES = ("application/x-www-form-urlencoded", "multipart/form-data", "text/plain")
NUMBER = r"-?([0-9]+(\.[0-9]+)?|\.[0-9]+)([eE][+-]?[0-9]+)?"
"""A valid floating-point number (HTML Standard, 2.3.4.3)."""
_METHODS = ("get", "post", "dialog")


def read_forms(tree: Tree, resolve: Callable[[str], str]) -> tuple[tuple[Form, ...], tuple[Control, ...]]:
    """Give the forms of a page, and the controls that belong to none.

    Args:
        tree: The page.
        resolve: Makes an address of the page absolute.
    """
    labels = _labels(tree)
    by_form: dict[Element | None, list[Control]] = {form: [] for form in tree.find("form")}
    for element in tree.find(*CONTROLS):
        by_form.setdefault(_owner(tree, element), []).append(_control(tree, element, labels, resolve))
    loose = tuple(by_form.pop(None, ()))
    forms = (_form(tree, form, controls, resolve) for form, controls in by_form.items() if form is not None)
    return tuple(forms), loose


def _form(tree: Tree, element: Element, controls: list[Control], resolve: Callable[[str], str]) -> Form:
    return Form(
        action=resolve(element.get("action", "")),
        method=_one_of(_METHODS, element.get("method")) or "get",
        enctype=_one_of(_ENCTYPES, element.get("enctype")) or _ENCTYPES[0],
        encoding=_sending_encoding(element.get("accept-charset", ""), tree.encoding),
        controls=tuple(controls),
        name=element.get("name", element.get("id", "")),
    )


def _sending_encoding(accepted: str, of_page: str) -> str:
    """Pick the encoding of a submission (HTML Standard, "pick an encoding for the form")."""
    found = (webencodings.lookup(label) for label in accepted.split())
    name = next((encoding.name for encoding in found if encoding is not None), of_page)
    return "utf-8" if name.startswith("utf-16") else name


def _owner(tree: Tree, element: Element) -> Element | None:
    named = element.get("form")
    if named is not None:
        found = next((other for other in tree.root.iter() if other.get("id") == named), None)
        return found if found is not None and name_of(found) == "form" else None
    while_parsing = tree.open_forms.get(element)
    if while_parsing is not None:
        return while_parsing
    return next((above for above in tree.above(element) if name_of(above) == "form"), None)


def _control(tree: Tree, element: Element, labels: dict[Element, str], resolve: Callable[[str], str]) -> Control:
    kind = _kind(element)
    options = _options(tree, element) if kind == "select" else ()
    return Control(
        name=element.get("name", ""),
        kind=kind,
        value=_typed_in(tree, element) if kind == "textarea" else _value(element, kind, options),
        label=labels.get(element) or _own_label(tree, element, kind),
        checked="checked" in element.attrib,
        options=options,
        maxlength=_whole_number(element.get("maxlength")),
        minimum=_bound(element, kind, "min"),
        maximum=_bound(element, kind, "max"),
        required="required" in element.attrib,
        disabled=_disabled(tree, element),
        read_only="readonly" in element.attrib,
        multiple="multiple" in element.attrib,
        target=_target(element, resolve),
        placeholder=element.get("placeholder", ""),
        step=element.get("step", ""),
    )


def _kind(element: Element) -> str:
    name = name_of(element)
    kind = element.get("type", "").lower()
    if name == "input":
        return kind if kind in _INPUT_TYPES else "text"
    if name == "button":
        return kind if kind in ("reset", "button") else "submit"
    return name


def _value(element: Element, kind: str, options: tuple[Option, ...]) -> str:
    if kind == "select":
        shown = [option for option in options if option.selected][-1:]
        first = [option for option in options if not option.disabled and "multiple" not in element.attrib]
        return (shown or first)[0].value if shown or first else ""
    return element.get("value", "on" if kind in ("checkbox", "radio") else "")


def _typed_in(tree: Tree, textarea: Element) -> str:
    text = "".join(textarea.itertext())
    # A line end right after the tag does not count (HTML Standard, 13.2.6.4.7); html5lib forgets so within a cell.
    in_cell = any(name_of(above) in ("td", "th", "caption") for above in tree.above(textarea))
    return text.removeprefix("\n") if in_cell else text


def _options(tree: Tree, select: Element) -> tuple[Option, ...]:
    return tuple(_option(tree, element) for element in select.iter() if name_of(element) == "option")


def _option(tree: Tree, element: Element) -> Option:
    text = re.sub(r"[ \t\n\f\r]+", " ", "".join(element.itertext())).strip(" ")
    group = tree.parents.get(element)
    in_disabled = group is not None and name_of(group) == "optgroup" and "disabled" in group.attrib
    disabled = "disabled" in element.attrib or in_disabled
    return Option(element.get("value", text), text, "selected" in element.attrib, disabled)


def _disabled(tree: Tree, element: Element) -> bool:
    """Tell whether a control, or a fieldset round it but for its first legend, is disabled."""
    if "disabled" in element.attrib:
        return True
    below = element
    for above in tree.above(element):
        if name_of(above) == "datalist":
            return True  # barred from being sent in the same way
        if name_of(above) == "fieldset" and "disabled" in above.attrib:
            first_legend = next((child for child in above if name_of(child) == "legend"), None)
            if below is not first_legend:
                return True
        below = above
    return False


def _target(element: Element, resolve: Callable[[str], str]) -> Target:
    action = element.get("formaction")
    return Target(
        action=None if action is None else resolve(action),
        method=_one_of(_METHODS, element.get("formmethod")),
        enctype=_one_of(_ENCTYPES, element.get("formenctype")),
    )


def _labels(tree: Tree) -> dict[Element, str]:
    labels: dict[Element, str] = {}
    named: dict[str, Element] = {}
    for element in tree.root.iter():
        if element.get("id"):
            named.setdefault(element.get("id", ""), element)
    for label in tree.find("label"):
        wanted = label.get("for")
        inside = (element for element in label.iter() if name_of(element) in CONTROLS and _kind(element) != "hidden")
        control = next(inside, None) if wanted is None else named.get(wanted)
        if control is not None:
            labels.setdefault(control, one_line(label, without=CONTROLS))
    return labels


def _own_label(tree: Tree, element: Element, kind: str) -> str:
    named_by = element.get("aria-labelledby", "").split()
    if named_by:
        found = {other.get("id"): one_line(other) for other in tree.root.iter() if other.get("id") in named_by}
        return " ".join(found[name] for name in named_by if name in found)
    if element.get("aria-label"):
        return element.get("aria-label", "")
    if name_of(element) == "button":
        return one_line(element)
    return element.get("value", "") if kind in ("submit", "reset", "button") else element.get("alt", "")


def _one_of(known: tuple[str, ...], given: str | None) -> str | None:
    """Read an enumerated attribute: None if it is not there, the first if it says nothing known."""
    if given is None:
        return None
    return given.lower() if given.lower() in known else known[0]


def _bound(element: Element, kind: str, end: str) -> float | None:
    """Read an end of a number's range; a date has ends too, and they are no numbers."""
    if kind not in ("number", "range"):
        return None
    found = re.fullmatch(NUMBER, element.get(end, ""))
    return float(found[0]) if found else None


def _whole_number(text: str | None) -> int | None:
    found = re.match(r"[ \t\n\f\r]*\+?([0-9]{1,9})", text or "")
    return int(found[1]) if found else None
