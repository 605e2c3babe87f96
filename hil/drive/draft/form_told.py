"""The form of a unit as a product file's settings, and what a person must say of it."""

from hil.core.form_promise import Setting
from hil.drive.draft.draft import Draft
from hil.evidence.pages import PagesView
from hil.page.fill import ControlRule, find_control
from hil.page.page import Control
from hil.page.recognise import Recognised, RecognisedForm


def tell_form(draft: Draft, found: tuple[str, RecognisedForm] | None, *, by_hand: bool) -> None:
    """Take the settings of the form that was found."""
    if found is None:
        draft.ask("form.path", "no form was found on the hotspot: where is it, and which settings has it?")
        if not by_hand:
            draft.stopped = "no form was found on the hotspot: set the unit up yourself, with --by-hand"
        return
    draft.form_path, form = found
    draft.settings = list(form.settings)
    for setting in form.settings:
        draft.note(f"form.settings.{setting.name}", setting.seen)
        for question in setting.questions:
            draft.ask(f"form.settings.{setting.name}", question)
    for what in form.left_out:
        draft.note("form.settings", f"left out: {what}")
    roles = {setting.role for setting in draft.by_name.values()}
    for role in ("network", "network key"):
        if role not in roles:
            draft.ask("form.settings", f'which setting is the {role}? None was recognised: give one role = "{role}"')
    if not form.sends_itself:
        draft.ask(
            "form.path",
            "the page's controls stand in no form, so a script sends them: say where in form.request and form.stored",
        )
    _ask_of_blanks(draft)


def _ask_of_blanks(draft: Draft) -> None:
    """What an empty box does can be told from the page only where the control is required."""
    secrets = [name for name, setting in draft.by_name.items() if setting.secret]
    others = [name for name, setting in draft.by_name.items() if setting.blank == "clears" and setting.prefilled]
    if secrets:
        text = f"does an empty box keep the stored secret (keeps), clear it (clears), or is it refused? ({', '.join(secrets)})"
        draft.ask("form.settings", text)
    if others:
        text = f"does an empty box clear the value (clears), keep it (keeps), or is it refused? ({', '.join(others)})"
        draft.ask("form.settings", text)


def tell_stored(draft: Draft, pages: PagesView, purpose: str, typed: dict[str, str]) -> None:
    """See which settings the form shows again as they were typed."""
    fetched = pages.of(purpose)
    if fetched is None or not fetched.answered_well:
        return
    settings: list[Recognised] = []
    for found in draft.settings:
        setting = found.setting
        control = find_control(fetched.page, ControlRule(name=setting.control, label=setting.label))
        shown = control.value if isinstance(control, Control) else None
        key = f"form.settings.{found.name}"
        if setting.secret and shown:
            draft.ask(key, "the page shows a value in this box once it is stored: a secret should never come back")
        elif not setting.secret and setting.prefilled and found.name in typed and shown != typed[found.name]:
            draft.ask(
                key, f"stored {typed[found.name]!r}, and the form then showed {shown!r}: is it kept and not shown?"
            )
            setting = _hidden(setting)
        settings.append(Recognised(found.name, setting, found.seen, found.questions))
    draft.settings = settings


def _hidden(setting: Setting) -> Setting:
    return setting.model_copy(update={"prefilled": False})
