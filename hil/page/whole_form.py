"""The setup form as a whole: from all the pages and answers it is spread over, one page as any other.

What a product file says of the form's traffic is used up here, so that whoever finds, fills in or reads back a setting need
not know of it: the forms of further pages stand beside the first one's, what a script sends is a form with its address,
several controls of one value are one control, and each control holds what is stored.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from urllib.parse import urljoin

from hil.core.form_promise import Form as FormPromise
from hil.core.form_promise import Setting
from hil.page.fill import JOINED, ControlRule
from hil.page.json_form import JSON, listed_names, read_json
from hil.page.page import Control, Form, NotFound, Option, Page, value_of

_KINDS = {"secret": "password", "number": "number"}


def rule_of(setting: Setting) -> ControlRule:
    """How a setting's control is found."""
    return ControlRule(name=setting.control, label=setting.label)


def rules_of_page(promise: FormPromise) -> list[ControlRule]:
    """The controls that the form's own page, as it comes, must have; a script may make them later, so of its page none."""
    if promise.request is not None:
        return []
    own = [s for s in promise.settings.values() if _page_of(s, promise) is None]
    spread = [ControlRule(name=name) for s in own for name in s.controls]
    return [*(rule_of(s) for s in own if not s.controls), *spread]


def beside_purpose(purpose: str, path: str) -> str:
    """What the evidence finds an answer by that was asked for beside the form's page."""
    return f"{purpose} at {path}"


def whole_form(promise: FormPromise, page: Page, beside: Mapping[str, Page]) -> Page:
    """Make one page of the form's own and of those beside it, by the paths that the product file gives them."""
    if promise.is_one_page:
        return page
    stored = _stored(promise, page, beside)
    pages: dict[str | None, Page] = {None: page, **{path: beside[path] for path in promise.pages if path in beside}}
    if promise.request is not None:
        forms = [_script_form(promise, page, stored)]
    else:
        forms = [_own(form, promise, path) for path, seen in pages.items() for form in seen.forms]
    forms = [_with_list(_joined(form, promise), promise, beside) for form in forms]
    if stored is not None:
        forms = [_as_stored(form, promise, stored) for form in forms]
    notes = [seen.note for seen in (page, *beside.values()) if seen.note]
    loose = () if promise.request else page.loose
    return replace(page, forms=tuple(forms), loose=loose, note="; ".join([*notes, *_list_notes(promise, beside)]))


def _stored(promise: FormPromise, page: Page, beside: Mapping[str, Page]) -> Page | None:
    if promise.stored is None:
        return None
    return beside.get(promise.stored.path, page if promise.stored.path == promise.path else None)


def _own(form: Form, promise: FormPromise, path: str | None) -> Form:
    """A form without the settings that belong to another page: they travel with it as it stands, unseen."""
    others = [rule_of(s) for s in promise.settings.values() if _page_of(s, promise) != path]
    own = [rule_of(s) for s in promise.settings.values() if _page_of(s, promise) == path]
    foreign = [c for c in form.controls if any(r.names(c) for r in others) and not any(r.names(c) for r in own)]
    return replace(form, controls=tuple(_unseen(c) if c in foreign else c for c in form.controls))


def _page_of(setting: Setting, promise: FormPromise) -> str | None:
    return None if setting.page == promise.path else setting.page


def _unseen(control: Control) -> Control:
    sends = control.checked or control.kind not in ("checkbox", "radio")
    return replace(control, kind="hidden", label="", options=(), disabled=control.disabled or not sends)


def _script_form(promise: FormPromise, page: Page, stored: Page | None) -> Form:
    """What a script sends: the object read where it is sent to, else the page's controls, and each setting beside."""
    request = promise.request
    action = urljoin(page.url, request.path) if request else page.url
    read = {
        c.name: c for c in (stored.forms[0].controls if stored is not None and stored.is_json and stored.forms else ())
    }
    on_page = {control.name: control for control in page.controls() if control.name}
    is_same = promise.stored is not None and request is not None and promise.stored.path == request.path
    names = dict.fromkeys([*(read if is_same else ()), *on_page, *_keys(promise)])
    controls = [_sent(read.get(name), on_page.get(name)) or _of_secret(name, promise) for name in names]
    method = request.method.lower() if request else "post"
    return Form(action, method, JSON, "utf-8", tuple(control for control in controls if control is not None))


def _keys(promise: FormPromise) -> Iterator[str]:
    for setting in promise.settings.values():
        yield from setting.controls or ([setting.control] if setting.control else [])


def _sent(read: Control | None, on_page: Control | None) -> Control | None:
    """A control with the kind and value that was read, and the limits that the page states."""
    if read is None or on_page is None or read.kind == "checkbox":
        return read or on_page
    bounded = replace(read, minimum=on_page.minimum, maximum=on_page.maximum, maxlength=on_page.maxlength)
    return replace(bounded, label=on_page.label, required=on_page.required)


def _of_secret(name: str, promise: FormPromise) -> Control | None:
    """A setting that is shown nowhere has a key all the same; one that should be shown is missing."""
    unseen = (s for s in promise.settings.values() if s.control == name and not s.prefilled)
    return next((Control(name, _KINDS.get(s.kind, "text"), "") for s in unseen), None)


def _joined(form: Form, promise: FormPromise) -> Form:
    """A form in which the controls of one value stand together behind one control, which holds their texts joined."""
    controls = list(form.controls)
    for setting in promise.settings.values():
        parts = [next((c for c in controls if c.name == name), None) for name in setting.controls]
        found = [part for part in parts if part is not None]
        if not setting.controls or len(found) < len(parts):
            continue
        texts = [part.value for part in found]
        value = setting.joined_by.join(texts) if any(texts) else ""
        disabled = any(part.disabled for part in found)
        together = Control(setting.control or "", JOINED, value, found[0].label, disabled=disabled)
        controls.insert(controls.index(found[-1]) + 1, together)
    return replace(form, controls=tuple(controls))


def _with_list(form: Form, promise: FormPromise, beside: Mapping[str, Page]) -> Form:
    """A form whose network control offers what the list holds beside its own, and shows what was typed beside it."""
    setting = next(s for s in promise.settings.values() if s.role == "network")
    control = next((c for c in form.controls if rule_of(setting).names(c)), None)
    if control is None:
        return form
    changed = control
    if setting.listed_at is not None and (control.kind == "select" or promise.request is not None):
        offered = _list_of(setting, beside)
        own = control.options or tuple(Option(v, v, selected=True) for v in [control.value] if v)
        known = {option.value for option in own}
        changed = replace(control, kind="select", options=own + tuple(Option(n, n) for n in offered if n not in known))
    typed = next((c.value for c in form.controls if setting.typed_in and c.name == setting.typed_in), "")
    changed = replace(changed, value=typed) if typed else changed
    return replace(form, controls=tuple(changed if c is control else c for c in form.controls))


def _list_of(setting: Setting, beside: Mapping[str, Page]) -> tuple[str, ...]:
    page = beside.get(setting.listed_at or "")
    return list_on(page, setting) if page is not None else ()


def list_on(page: Page, setting: Setting) -> tuple[str, ...]:
    """The networks that an answer lists; none where it is no such list."""
    value = read_json(page.text.encode("utf-8", "surrogatepass")) if page.is_json else None
    return () if isinstance(value, NotFound) else listed_names(value, setting.listed_as)


def _list_notes(promise: FormPromise, beside: Mapping[str, Page]) -> Iterator[str]:
    for setting in promise.settings.values():
        if setting.listed_at is not None and not _list_of(setting, beside):
            yield f"no list of networks came from {setting.listed_at}"


def _as_stored(form: Form, promise: FormPromise, stored: Page) -> Form:
    """A form whose settings hold what is stored; without those of which it is not told what is."""
    controls: list[Control] = []
    for control in form.controls:
        setting = next((s for s in promise.settings.values() if rule_of(s).names(control)), None)
        value = None if setting is None else _stored_value(setting, control, stored)
        if value is not None:
            own = None if promise.request else control.value
            controls.append(replace(_holding(control, value), own=own))
        elif setting is None or not setting.prefilled:
            controls.append(control)
    return replace(form, controls=tuple(controls))


def _holding(control: Control, value: str) -> Control:
    """A control that holds a value: a tick, a choice, or a text."""
    if control.kind == "checkbox":
        return replace(control, checked=value.lower() not in ("", "false", "off", "no", "0"))
    return replace(control, value=value)


def _stored_value(setting: Setting, control: Control, stored: Page) -> str | None:
    if not stored.is_json or not stored.forms:
        return value_of(stored, setting.label or control.label)
    values = {c.name: _as_written(setting, c) for c in stored.forms[0].controls}
    if setting.controls and all(name in values for name in setting.controls):
        return setting.joined_by.join(values[name] for name in setting.controls)
    return values.get(control.name)


def _as_written(setting: Setting, read: Control) -> str:
    """The text of a value; where a text stands for a number, as JSON writes it, so that it is none."""
    if read.kind == "checkbox":
        return str(read.checked).lower()
    return json.dumps(read.value) if setting.kind == "number" and read.kind == "text" else read.value
