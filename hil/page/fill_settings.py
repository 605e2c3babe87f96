"""Fills in settings, by their names in the product file, on a form that is spread over one page or several.

A save of several forms is several requests: the first is made here, and the others say what to type once they are opened
in their turn, so that they bear whatever their pages hold by then.
"""

from collections.abc import Mapping
from dataclasses import replace

from hil.core.form_promise import Form as FormPromise
from hil.core.form_promise import Setting
from hil.page.fill import ControlRule, FormRequest, NextForm, fill, find_control, find_form, offers
from hil.page.page import Control, Form, NotFound, Page
from hil.page.whole_form import rule_of

_Typed = dict[str, str]


def fill_settings(
    promise: FormPromise, page: Page, values: Mapping[str, str], *, freely: bool = False
) -> FormRequest | NotFound:
    """Change some settings of a whole form and leave all else as it stands; every form with settings is sent, in order."""
    typed: list[tuple[Form, list[str], _Typed]] = []
    for name, setting in promise.settings.items():
        form = _form_of(promise, page, setting)
        if isinstance(form, NotFound):
            if name in values:
                return form
            continue
        place = next((entry for entry in typed if entry[0] is form), None)
        if place is None:
            place = (form, [], {})
            typed.append(place)
        control = find_control(replace(page, forms=(form,), loose=()), rule_of(setting))
        place[1].extend([] if isinstance(control, NotFound) else setting.controls or [control.name])
        into = _typed(setting, form, control, values[name]) if name in values else {}
        if isinstance(into, NotFound):
            return into
        place[2].update(into)
    return _requests(page, typed, freely=freely)


def open_next(page: Page, onward: NextForm) -> FormRequest | NotFound:
    """Fill in a further form of a save, on the whole form as it is now."""
    form = find_form(page, [ControlRule(name=name) for name in onward.names])
    return form if isinstance(form, NotFound) else fill(form, onward.typed, freely=onward.freely)


def _form_of(promise: FormPromise, page: Page, setting: Setting) -> Form | NotFound:
    """The form that has every setting, else the first that has this one; where one merely carries it along, it is the last."""
    seen = replace(page, forms=tuple(form for form in page.forms if _shows(form, setting)) or page.forms)
    form = find_form(seen, [rule_of(s) for s in promise.settings.values()])
    return form if isinstance(form, Form) else find_form(seen, [rule_of(setting)])


def _shows(form: Form, setting: Setting) -> bool:
    return any(rule_of(setting).names(c) and c.kind != "hidden" for c in form.controls)


def _typed(setting: Setting, form: Form, control: Control | NotFound, value: str) -> _Typed | NotFound:
    """What goes into which controls."""
    if isinstance(control, NotFound):
        return control
    if setting.controls:
        parts = setting.spread(value)
        return NotFound(f"{value!r} does not fall into {len(setting.controls)} parts") if parts is None else parts
    other = next((c for c in form.controls if setting.typed_in and c.name == setting.typed_in), None)
    if other is not None and control.kind == "select" and not offers(control, value):
        return {other.name: value}
    cleared = {other.name: ""} if other is not None and other.value else {}
    return {control.name: value, **cleared}


def _requests(page: Page, typed: list[tuple[Form, list[str], _Typed]], *, freely: bool) -> FormRequest | NotFound:
    order = sorted(typed, key=lambda entry: next(at for at, form in enumerate(page.forms) if form is entry[0]))
    if not order:
        return NotFound("the page has no form with a setting")
    first = fill(order[0][0], order[0][2], freely=freely)
    if isinstance(first, NotFound):
        return NotFound(f"{first.reason}; {page.note}") if page.note else first
    onward = tuple(NextForm(tuple(names), into, freely) for _, names, into in order[1:])
    return replace(first, then=onward)
