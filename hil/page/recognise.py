"""The settings of a form nobody described yet: what each control is, as a proposal for a product file.

Pure guesses from the markup: kinds by the input's type, roles by the words of names and labels. What a guess rests on
too little is said as a question. Types and what they allow: HTML Standard, 4.10.5.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Literal

from hil.core.form_promise import ADDRESS_ROLES, Role, Setting
from hil.page.page import Control, Form, Page
from hil.page.words import (
    key_in_file,
    speaks_of_address,
    speaks_of_fixed,
    speaks_of_key,
    speaks_of_network,
    speaks_of_no_key,
    speaks_of_own_hotspot,
    speaks_of_update,
)

Kind = Literal["text", "number", "address", "secret"]

_UNTYPED = ("hidden", "submit", "image", "reset", "button", "file")
_TICKED = ("checkbox", "radio")
_FREE_TEXT = ("text", "search", "textarea")
CANARY_EXTRA = 7  # characters that a throw-away value adds to a setting's name
SECRET_LENGTH = 20  # of the longest throw-away secret a run types
TRIAL_URL = "http://192.0.2.1/hil"  # RFC 5737, TEST-NET-1: nobody answers there
TRIAL_MAIL = "hil@example.org"  # RFC 2606


@dataclass(frozen=True)
class Recognised:
    """A setting as proposed: its name in the product file, the proposal, what was seen, what a person must confirm."""

    name: str
    setting: Setting
    seen: str
    questions: tuple[str, ...] = ()


@dataclass(frozen=True)
class RecognisedForm:
    """The settings of a page in order, and the controls that are none."""

    settings: tuple[Recognised, ...]
    left_out: tuple[str, ...]
    sends_itself: bool  # a form of the page; else the controls stand alone and a script sends them
    form: Form | None = field(default=None, repr=False)


def recognise_form(page: Page) -> RecognisedForm | None:
    """The page's settings form: the one with the most settings; None where the page has no control to type into."""
    forms = sorted(page.forms, key=lambda form: -len(_typed(form.controls)))
    if forms and _typed(forms[0].controls):
        return RecognisedForm(*recognise_controls(forms[0].controls), sends_itself=True, form=forms[0])
    if _typed(page.loose):
        return RecognisedForm(*recognise_controls(page.loose), sends_itself=False)
    return None


def recognise_controls(controls: Sequence[Control]) -> tuple[tuple[Recognised, ...], tuple[str, ...]]:
    """Propose a setting for each control that takes typing or choosing; also names those left out, with why."""
    typed = _typed(controls)
    roles = guess_roles(typed)
    found: list[Recognised] = []
    left_out = [f"{c.name or c.label or 'one without a name'} ({c.kind})" for c in controls if c.kind == "hidden"]
    for at, control in enumerate(typed):
        how = _recognised_by(control, controls)
        if how is None:
            left_out.append(f"a {control.kind} without a name or label of its own")
            continue
        found.append(_proposal(control, how, roles.get(at), [r.name for r in found]))
    return tuple(found), tuple(left_out)


def _typed(controls: Iterable[Control]) -> list[Control]:
    """Those a person can change; of a group of radio buttons or checkboxes the first."""
    seen: set[str] = set()
    kept = []
    for control in controls:
        if control.kind in _UNTYPED or control.disabled or control.read_only:
            continue
        if control.kind in _TICKED and control.name:
            if control.name in seen:
                continue
            seen.add(control.name)
        kept.append(control)
    return kept


def _recognised_by(control: Control, controls: Sequence[Control]) -> dict[str, str] | None:
    """The control's name where no other has it, else its label; None where neither tells it from the others."""
    rivals = [c for c in controls if c.kind != "hidden" and c is not control]
    one_group = control.kind in _TICKED
    if control.name and (one_group or control.name not in {c.name for c in rivals}):
        return {"control": control.name}
    if control.name and control.label and control.label not in {c.label for c in rivals}:
        return {"label": control.label}
    return None  # without a name the browser sends nothing of it


def guess_roles(typed: Sequence[Control]) -> dict[int, Role]:
    """Which control is likely the network, its key, the key for updates, and what else has a role; by position."""
    roles: dict[int, Role] = {}
    network = _best([_network_score(control) for control in typed])
    if network is not None:
        roles[network] = "network"
    update = _best([_update_score(c) if at not in roles else 0 for at, c in enumerate(typed)])
    key = _best([_key_score(c, at, network) if at not in roles else 0 for at, c in enumerate(typed)])
    if key is not None:
        roles[key] = "network key"
    if update is not None and update != key:
        roles[update] = "update key"
    unkeyed = _best([int(c.kind == "checkbox" and speaks_of_no_key(c)) for c in typed])
    if unkeyed is not None:
        roles[unkeyed] = "network security"
    return roles | _fixed_roles(typed, roles)


def _fixed_roles(typed: Sequence[Control], taken: Mapping[int, Role]) -> dict[int, Role]:
    """The three texts of a fixed address, all of them or none."""
    fit = {at: c for at, c in enumerate(typed) if at not in taken and c.kind in _FREE_TEXT and not c.required}
    found = {at: role for role in reversed(ADDRESS_ROLES) for at, c in fit.items() if speaks_of_fixed(role, c)}
    return found if sorted(found.values()) == sorted(ADDRESS_ROLES) else {}


def _best(scores: Sequence[int]) -> int | None:
    best = max(scores, default=0)
    return scores.index(best) if best > 0 else None


def _network_score(control: Control) -> int:
    if control.kind not in (*_FREE_TEXT, "select") or speaks_of_key(control) or speaks_of_own_hotspot(control):
        return 0
    named = "ssid" in control.name.lower() or "ssid" in control.label.lower()
    return 2 * speaks_of_network(control) + named


def _is_key(control: Control) -> bool:
    return control.kind == "password" or (control.kind in _FREE_TEXT and speaks_of_key(control))


def _key_score(control: Control, at: int, network: int | None) -> int:
    if not _is_key(control) or speaks_of_update(control) or speaks_of_own_hotspot(control):
        return 0
    follows = network is not None and at == network + 1
    return 1 + (control.kind == "password") + 3 * speaks_of_network(control) + 2 * follows


def _update_score(control: Control) -> int:
    return int(_is_key(control) and speaks_of_update(control))


def _kind(control: Control) -> Kind:
    if control.kind == "password":
        return "secret"
    if control.kind in ("number", "range"):
        return "number"
    if control.kind == "url" or (control.kind == "text" and speaks_of_address(control)):
        return "address"
    return "text"


def _proposal(control: Control, how: dict[str, str], role: Role | None, taken: Sequence[str]) -> Recognised:
    name, kind = _free_name(control, taken), _kind(control)
    questions = [f"is this the {role}? It was guessed by its words"] if role else []
    if role is None and kind == "secret":
        questions.append("which secret is this? If it is the key of the network or of updates, give it that role")
    values: dict[str, object] = {**how, "kind": kind}
    if role is not None:
        values["role"] = role
    if role == "network security":
        values["without_key"] = control.value
    if kind == "secret":
        questions += _secret_questions(control)
        values |= {"prefilled": False, "blank": "keeps"}
    elif control.kind in _TICKED:
        values["prefilled"] = False  # what it holds is its tick, not its value
    else:
        values |= {"default": control.value, "blank": "refused" if control.required else "clears"}
        values |= {"unit": unit} if kind == "number" and (unit := _unit_in(control.label)) else {}
    trial: dict[str, object] = {} if role or kind == "secret" else _trial(control, name, kind)
    if role is None and kind != "secret" and not trial and control.kind not in _TICKED:
        questions.append("no value to type was found: give one as trial, another than the default")
    return Recognised(name, Setting.model_validate(values | trial), _seen(control), tuple(questions))


def _free_name(control: Control, taken: Sequence[str]) -> str:
    stem = key_in_file(control.name) or key_in_file(control.label) or "setting"
    numbered = (f"{stem}_{number}" for number in range(2, len(taken) + 3))
    return stem if stem not in taken else next(name for name in numbered if name not in taken)


def _secret_questions(control: Control) -> list[str]:
    questions = []
    if control.value:
        questions.append("the page shows a value in this box: a secret should never come back. Is that a defect?")
    if control.maxlength is not None and control.maxlength < SECRET_LENGTH:
        questions.append(f"it takes {control.maxlength} characters only: a run types up to {SECRET_LENGTH}")
    return questions


def _unit_in(label: str) -> str:
    found = re.search(r"[(\[]([^()\[\]]{1,12})[)\]]\s*:?\s*$", label)
    return found[1].strip() if found else ""


def _trial(control: Control, name: str, kind: Kind) -> dict[str, object]:
    """What to type: a throw-away text, the next number, another option; nothing where nothing safe is known."""
    if control.kind == "select":
        others = [o.value for o in control.options if not o.disabled and o.value not in ("", control.value)]
        return {"trial": others[0]} if others else {}
    if kind == "number":
        number = _other_number(control)
        return {} if number is None else {"trial": number}
    if kind == "address":
        return {"trial": TRIAL_URL} if control.value != TRIAL_URL else {}
    if control.kind == "email":
        return {"trial": TRIAL_MAIL} if control.value != TRIAL_MAIL else {}
    fits = control.maxlength is None or control.maxlength >= len(name) + CANARY_EXTRA
    return {"canary": True} if control.kind in _FREE_TEXT and fits else {}


def _other_number(control: Control) -> str | None:
    """The default and one step, or the other way at the upper end; None where the default is no number."""
    step = _decimal(control.step) or Decimal(1)
    least, most = (None if end is None else Decimal(str(end)) for end in (control.minimum, control.maximum))
    value = _decimal(control.value)
    start = value if value is not None else least
    if start is None:
        return None
    steps = (start + step, start - step)
    inside = [n for n in steps if (least is None or n >= least) and (most is None or n <= most)]
    return format(inside[0].normalize(), "f") if inside else None


def _decimal(text: str) -> Decimal | None:
    try:
        number = Decimal(text)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None


def _seen(control: Control) -> str:
    label = f", labelled {control.label!r}" if control.label else ""
    hint = f", placeholder {control.placeholder!r}" if control.placeholder else ""
    return f"{control.kind} control {control.name!r}{label}{hint}"
