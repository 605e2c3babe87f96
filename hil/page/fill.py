"""Fills a form in and makes of it the request a browser would send.

A person at the page can only type into what takes typing and choose what is
offered. Where the page does not let them, the answer is a `NotFound` with the
reason: that is the unit's doing, so it is evidence. Source: WHATWG HTML Standard,
4.10.22 "Form submission" and 4.10.5.1 (value sanitization).
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from hil.page.controls import NUMBER
from hil.page.encode import Entry, multipart, plain, urlencoded
from hil.page.json_form import BUILT, JSON, json_body
from hil.page.page import Control, Form, NotFound, Option, Page, same_label

__all__ = [
    "Control",
    "ControlRule",
    "Form",
    "FormRequest",
    "NotFound",
    "Page",
    "fill",
    "fill_page",
    "find_control",
    "find_form",
]

_SUBMIT = ("submit", "image")
_TICKED = ("checkbox", "radio")
JOINED = "joined"
"""The kind of a control that stands for several of one value: they are sent, and it is not."""
_UNTYPED = (*_SUBMIT, "hidden", "reset", "button", "file", "range", "color", BUILT, JOINED)
_ONE_LINE = ("text", "search", "tel", "password", "url", "email")


@dataclass(frozen=True)
class ControlRule:
    """How a product names a control: by its name in the form, or else by its label."""

    name: str | None = None
    label: str | None = None

    def __post_init__(self) -> None:
        """Refuse a rule that names none."""
        if self.name is None and self.label is None:
            raise ValueError("a control is named by its name or by its label: give one")

    def names(self, control: Control) -> bool:
        """Tell whether this rule means that control; a label's case and blanks do not count."""
        if self.name is not None:
            return control.name == self.name
        return self.label is not None and same_label(control.label, self.label)

    def __str__(self) -> str:
        """Say it as in a sentence."""
        return f"control named {self.name!r}" if self.name is not None else f"control labelled {self.label!r}"


@dataclass(frozen=True)
class NextForm:
    """A form to be opened anew, filled in and sent after another: the names of its settings' controls, and what to type."""

    names: tuple[str, ...]
    typed: Mapping[str, str]
    freely: bool = False


@dataclass(frozen=True)
class FormRequest:
    """What a browser would send; `notes` say where it sends other than it was told, `then` what belongs to the same save."""

    method: str
    url: str
    body: bytes
    content_type: str
    notes: tuple[str, ...] = ()
    then: tuple[NextForm, ...] = ()


def find_control(page: Page, how: ControlRule) -> Control | NotFound:
    """Find the one control a rule means; of a group of radio buttons or checkboxes the first."""
    return _pick(list(page.controls()), how)


def find_form(page: Page, rules: Iterable[ControlRule]) -> Form | NotFound:
    """Find the first form that has a control for every rule."""
    wanted = tuple(rules)
    problem = NotFound("the page has no form")
    for form in page.forms:
        missing = [got for got in (_pick(form.controls, rule) for rule in wanted) if isinstance(got, NotFound)]
        if not missing:
            return form
        problem = missing[0]
    return problem


def _pick(controls: Sequence[Control], how: ControlRule) -> Control | NotFound:
    found = [control for control in controls if how.names(control)]
    # A hidden control of the same name goes before a checkbox, to send something when it is off.
    seen = [control for control in found if control.kind != "hidden"] or found
    if not seen:
        return NotFound(f"the page has no {how}")
    one_group = len({control.name for control in seen}) == 1 and all(c.kind in _TICKED for c in seen)
    if len(seen) > 1 and not one_group:
        return NotFound(f"the page has {len(seen)} times a {how}")
    return seen[0]


def fill_page(page: Page, values: Mapping[str, str]) -> FormRequest | NotFound:
    """Fill in the first form that takes these values; a key is a control's name, or else its label."""
    names = {control.name for control in page.controls()}
    rules = {key: ControlRule(name=key) if key in names else ControlRule(label=key) for key in values}
    form = find_form(page, rules.values())
    if isinstance(form, NotFound):
        return form
    found = {key: _pick(form.controls, rule) for key, rule in rules.items()}
    return fill(form, {control.name: values[key] for key, control in found.items() if isinstance(control, Control)})


def fill(
    form: Form, values: Mapping[str, str], button: Control | None = None, *, freely: bool = False
) -> FormRequest | NotFound:
    """Fill a form in and press a button of it.

    Args:
        form: The form. What is not named in `values` is sent as it stands.
        values: By control name. A checkbox or radio button takes its own value,
            a checkbox also "" for off; a select takes an option's value or text.
        button: The button to press; left out, the first of the form, if any.
        freely: Send what is to be typed as it stands, past the page's own limits,
            as a script would that read only the names of the controls.

    Returns:
        The request, or why a person could not have filled the form in so.
    """
    for name, value in values.items():
        if reason := _hindrance(form, name, value):
            return NotFound(reason)
    pressed = button or next((c for c in form.controls if c.kind in _SUBMIT and not c.disabled), None)
    if form.enctype == JSON:
        return _script_request(form, values, freely=freely)
    entries: list[Entry] = []
    for control in form.controls:
        wanted = values.get(control.name) if _takes(control) else None
        entries += _entries(control, wanted, pressed, form.encoding)
    if freely:
        entries = [replace(entry, value=values.get(entry.name, entry.value)) for entry in entries]
        return _request(form, pressed, entries, ())
    notes = tuple(note for c in form.controls if c.name in values and (note := _note(c, values[c.name])))
    return _request(form, pressed, entries, notes)


def _script_request(form: Form, values: Mapping[str, str], *, freely: bool) -> FormRequest:
    """What a script sends: every control with its kind, a box that is not ticked too, and no button."""
    entries: list[Entry] = []
    for control in form.controls:
        if not control.name or control.disabled or control.kind in (*_SUBMIT, "reset", "button", "file", JOINED):
            continue
        wanted = values.get(control.name) if _takes(control) else None
        held = _held(control, wanted) or ([""] if control.kind == "checkbox" else [])
        text = wanted if freely and wanted is not None else held[0] if held else None
        entries += [] if text is None else [Entry(control.name, text, kind=control.kind)]
    notes = (
        () if freely else tuple(note for c in form.controls if c.name in values and (note := _note(c, values[c.name])))
    )
    return FormRequest(form.method.upper(), form.action, json_body(entries), JSON, notes)


def _takes(control: Control) -> bool:
    return control.kind not in _UNTYPED and not control.disabled and not control.read_only


def _hindrance(form: Form, name: str, value: str) -> str:
    """Say what keeps a person from giving this value; empty if nothing does."""
    named = [control for control in form.controls if control.name == name]
    takers = [control for control in named if _takes(control)]
    if not takers:
        kinds = ", ".join(sorted({control.kind for control in named}))
        return f"nothing can be typed into {name!r} ({kinds})" if named else f"the form has no control named {name!r}"
    if takers[0].kind == "select":
        return "" if offers(takers[0], value) else f"select {name!r} does not offer {value!r}"
    if takers[0].kind in _TICKED:
        off = takers[0].kind == "checkbox" and value == ""
        return "" if off or value in {c.value for c in takers} else f"{takers[0].kind} {name!r} has no {value!r}"
    return ""


def offers(select: Control, value: str) -> bool:
    """Tell whether a select lets a value be chosen, by the value itself or by what the choice reads."""
    return _option(select, value) is not None


def _option(select: Control, wanted: str) -> Option | None:
    offered = [option for option in select.options if not option.disabled]
    by_value = (option for option in offered if option.value == wanted)
    return next(by_value, None) or next((option for option in offered if option.text == wanted), None)


def _entries(control: Control, wanted: str | None, pressed: Control | None, encoding: str) -> list[Entry]:
    """Give what one control adds (HTML Standard, "constructing the entry list")."""
    if control.disabled or control.kind in ("reset", "button", JOINED):
        return []
    if control.kind in _SUBMIT:
        return _pressed(control) if control is pressed else []
    if not control.name:
        return []
    if control.kind == "file":
        return [Entry(control.name, "", is_file=True)]
    if control.kind == "hidden" and control.name.lower() == "_charset_":
        return [Entry(control.name, encoding.upper() if encoding == "utf-8" else encoding)]
    return [Entry(control.name, value) for value in _held(control, wanted)]


def _pressed(button: Control) -> list[Entry]:
    if button.kind == "image":  # the place of the click goes along
        stem = f"{button.name}." if button.name else ""
        return [Entry(f"{stem}x", "0"), Entry(f"{stem}y", "0")]
    return [Entry(button.name, button.value)] if button.name else []


def _held(control: Control, wanted: str | None) -> list[str]:
    if control.kind in _TICKED:
        ticked = control.checked if wanted is None else control.value == wanted
        return [control.value] if ticked else []
    if control.kind == "select":
        chosen = None if wanted is None else _option(control, wanted)
        return [chosen.value] if chosen else _standing(control)
    standing = control.value if control.own is None else control.own
    return [_sanitised(control, standing if wanted is None else _typed(control, wanted))]


def _standing(select: Control) -> list[str]:
    """Give what a select sends that nobody touched."""
    selected = [option for option in select.options if option.selected]
    if not select.multiple:
        selected = selected[-1:] or [option for option in select.options if not option.disabled][:1]
    return [option.value for option in selected if not option.disabled]


def _typed(control: Control, text: str) -> str:
    """Cut at the control's maxlength, in UTF-16 code units, as a browser cuts what is typed or pasted."""
    if control.maxlength is None or control.kind not in (*_ONE_LINE, "textarea"):
        return text
    units = text.encode("utf-16-le", "surrogatepass")[: 2 * control.maxlength]
    return units.decode("utf-16-le", "ignore")


def _sanitised(control: Control, text: str) -> str:
    if control.kind in _ONE_LINE:
        text = re.sub(r"[\r\n]", "", text)
    if control.kind in ("url", "email"):
        text = text.strip(" \t\n\f\r")
    if control.kind == "number" and not re.fullmatch(NUMBER, text):
        return ""
    return text


def _note(control: Control, told: str) -> str:
    if not _takes(control) or control.kind == "select" or control.kind in _TICKED:
        return ""
    sent = _sanitised(control, _typed(control, told))
    if sent == told:
        return ""
    why = f"maxlength {control.maxlength}" if _typed(control, told) != told else f"type {control.kind}"
    return f"{control.name!r} takes {sent!r} instead of {told!r} ({why})"


def _request(
    form: Form, pressed: Control | None, entries: list[Entry], notes: tuple[str, ...]
) -> FormRequest | NotFound:
    target = pressed.target if pressed is not None else None
    action = (target and target.action) or form.action
    method = (target and target.method) or form.method
    enctype = (target and target.enctype) or form.enctype
    if method == "dialog" or not action.lower().startswith(("http:", "https:")):
        return NotFound(f"the form sends nothing over the network (method {method}, action {action!r})")
    address = action.partition("#")[0]
    if method == "get":
        query = urlencoded(entries, form.encoding).decode("ascii")
        return FormRequest("GET", f"{address.partition('?')[0]}?{query}", b"", "", notes)
    if enctype == "multipart/form-data":
        body, content_type = multipart(entries, form.encoding)
    elif enctype == "text/plain":
        body, content_type = plain(entries, form.encoding), "text/plain"
    else:
        body, content_type = urlencoded(entries, form.encoding), enctype
    return FormRequest("POST", address, body, content_type, notes)
