"""A draft as the text of a product file: TOML 1.0, with what was seen and what is asked beside each key."""

import json
from collections.abc import Iterable, Mapping
from enum import StrEnum

from hil.core.form_promise import Setting
from hil.core.product import QUESTION_MARK, Lamp, StageName
from hil.core.text import printable
from hil.drive.draft.draft import Draft
from hil.drive.draft.figures import MARGIN_RULE

_STAGES: tuple[StageName, ...] = ("starting", "joining", "setup", "connected", "updating", "fault")
_EXAMPLE_LAMP = {"lamp": {"colour": "amber", "flash_hz": 2.0}}
_NEEDED = ("setup", "connected")
_LIMIT_WORDS = {
    "lamp_on_s": "power on → lamp lit",
    "joining_s": "power on → joining begins",
    "first_hotspot_s": "power on after erase → hotspot on the air",
    "gives_up_s": "joining begins → gives up",
    "hotspot_up_s": "power on → hotspot on the air, saved network absent",
    "lease_s": "joined the hotspot → address",
    "first_octet_s": "page asked for → first octet",
    "restart_s": "settings saved → restart",
    "connected_s": "restart, or power on → connected",
}


class _Text:
    """Lines as they come, with the questions numbered in their order."""

    def __init__(self, draft: Draft) -> None:
        self._draft = draft
        self.lines: list[str] = []
        self.questions: list[str] = []
        self._written: set[str] = set()

    def section(self, name: str) -> None:
        """Begin a table, with what is said of it as a whole."""
        self.lines.append("")
        self._beside(name)
        self.lines.append(f"[{name}]")

    def key(self, path: str, value: object, *, example: object = "") -> None:
        """One key, with what is said of it above; commented out, with an example, where nothing is known."""
        self._beside(path)
        name = path.rpartition(".")[2]
        self.lines.append(f"# {name} = {toml_value(example)}" if value is None else f"{name} = {toml_value(value)}")

    def said(self, path: str) -> bool:
        """Whether there is anything to say of a key."""
        return path in self._draft.notes or any(question.key == path for question in self._draft.questions)

    def remark(self, text: str) -> None:
        """A comment of its own."""
        self.lines.append(f"# {printable(text)}")

    def rest(self) -> None:
        """Questions of keys that were not written."""
        for key in dict.fromkeys(question.key for question in self._draft.questions):
            self._beside(key, named=True)

    def _beside(self, path: str, *, named: bool = False) -> None:
        if path in self._written:
            return
        self._written.add(path)
        self.lines += [f"# {printable(note)}" for note in self._draft.notes.get(path, [])]
        for question in self._draft.questions:
            if question.key == path:
                number = len(self.questions) + 1
                self.questions.append(f"{number}: {printable(path)}: {printable(question.text)}")
                about = f"{path}: " if named else ""
                self.lines.append(f"# {QUESTION_MARK} {number}: {printable(about + question.text)}")


def write_draft(draft: Draft) -> tuple[str, list[str]]:
    """The file's text, and its questions in order."""
    _ask_what_nobody_sees(draft)
    text = _Text(draft)
    text.key("name", _name(draft))
    text.key("model", _name(draft))
    text.remark('what = ""')
    text.remark('hardware_revision = ""')
    _write_stages(text, draft)
    _write_limits(text, draft)
    _write_hotspot(text, draft)
    _write_form(text, draft)
    _write_status(text, draft)
    _write_console(text, draft)
    text.rest()
    head = [
        f"# {printable(draft.seen_on)}",
        "# All of it was seen on one unit once, or is a guess. Look through it, and answer what is asked at each mark",
        f"# {QUESTION_MARK}: change the key beside it, then take the question out of this list. While one is left, nothing is",
        "# judged by this file.",
        "questions = [",
        *(f"    {toml_value(question)}," for question in text.questions),
        "]",
        "",
    ]
    return "\n".join([*head, *text.lines]) + "\n", text.questions


def _ask_what_nobody_sees(draft: Draft) -> None:
    draft.ask("name", "what are the product and its model called? This is the hotspot's name")
    draft.ask("limits", "what is promised? These are proposals from one unit's times")
    for stage in ("updating", "fault"):
        draft.ask(f"stages.{stage}", "not seen: how does the lamp look in it? Leave it out where there is none")
    for stage in _STAGES[:4]:
        if stage not in draft.stages and not any(q.key == f"stages.{stage}" for q in draft.questions):
            need = "a product file needs it" if stage in _NEEDED else "leave it out where there is none"
            draft.ask(f"stages.{stage}", f"not seen: how does the lamp look in it? ({need})")
    for name in draft.by_name:
        trial = draft.by_name[name].trial
        if trial is not None:
            draft.note(f"form.settings.{name}", f"trial {trial!r} is typed in tests: it must be one that harms nobody")


def _name(draft: Draft) -> str:
    name = draft.hotspot.name.replace("{address_tail}", "").strip(" -_") if draft.hotspot else ""
    return name or "unnamed"


def _write_stages(text: _Text, draft: Draft) -> None:
    text.section("stages")
    for stage in _STAGES:
        lamp = draft.stages.get(stage)
        text.key(f"stages.{stage}", None if lamp is None else {"lamp": _lamp(lamp)}, example=_EXAMPLE_LAMP)


def _lamp(lamp: Lamp) -> dict[str, object]:
    return lamp.model_dump(exclude_unset=True)


def _write_limits(text: _Text, draft: Draft) -> None:
    draft.notes.setdefault("limits", []).append(f"Seconds. Each limit is {MARGIN_RULE}.")
    text.section("limits")
    for name, words in _LIMIT_WORDS.items():
        proposal = draft.limits.get(name)
        draft.note(f"limits.{name}", words + (f": {proposal.seen}" if proposal else ""))
        text.key(
            f"limits.{name}", proposal.bound.model_dump(exclude_none=True) if proposal else None, example={"upper": 1.0}
        )


def _write_hotspot(text: _Text, draft: Draft) -> None:
    text.section("hotspot")
    if draft.hotspot is not None:
        for name, value in draft.hotspot.model_dump(exclude_unset=True).items():
            text.key(f"hotspot.{name}", value)


def _write_form(text: _Text, draft: Draft) -> None:
    text.section("form")
    text.key("form.path", draft.form_path)
    text.key("form.connected_path", draft.connected_path)
    text.key("form.connected_user", "" if draft.connected_path is not None else None)
    text.section("form.settings")
    for found in draft.settings:
        text.key(f"form.settings.{found.name}", _setting(found.setting))


def _setting(setting: Setting) -> dict[str, object]:
    """The keys that matter, those of most weight first; what is as any setting's is left out."""
    plain = {name: field.default for name, field in Setting.model_fields.items()}
    given = setting.model_dump(exclude_none=True)
    return {name: value for name, value in given.items() if value != plain[name] or name == "blank"}


def _write_status(text: _Text, draft: Draft) -> None:
    text.section("status")
    status = draft.status.model_dump(exclude_none=True, exclude_unset=True) if draft.status else {}
    for name in ("path", "version", "address", "network", "serial_number", "running_for_s", "others"):
        if name in status or text.said(f"status.{name}") or name in ("path", "version"):
            text.key(f"status.{name}", status.get(name))


def _write_console(text: _Text, draft: Draft) -> None:
    text.section("console")
    console = draft.console
    text.key("console.baud", console.baud)
    text.key("console.speaks", console.speaks)
    text.key("console.start", console.start)
    text.key("console.version", console.version)
    text.remark("crash: the patterns that mean a crash are the tool's own, unless given here")
    if console.stages:
        text.key("console.stages", dict(console.stages))


def toml_value(value: object) -> str:
    """A value as TOML writes it, tables inline.

    Source: TOML 1.0.0: a basic string takes JSON's escapes; it may hold neither DEL nor a lone surrogate.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, StrEnum | str):
        return _string(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(str(name))} = {toml_value(inner)}" for name, inner in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, Iterable):
        return f"[{', '.join(map(toml_value, value))}]"
    raise TypeError(f"no value of a product file: {value!r}")


def _string(text: str) -> str:
    whole = text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
    return json.dumps(whole, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    bare = name.replace("_", "").replace("-", "")
    return name if bare.isascii() and bare.isalnum() else _string(name)
