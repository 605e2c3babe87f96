"""Saves of the form within a leg: what was typed, and what became of it up to the next save, when the unit must be back."""

import re
from dataclasses import dataclass

from hil.core.moments import Moment
from hil.evidence.contract import CLIENT_ERRORS, quoted
from hil.evidence.pages import Fetched
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.views import Views
from hil.evidence.window import Window
from hil.page.contract import kept_whole
from hil.page.page import Control, value_of

_BLANKS = re.compile(r"[ \t\n\f\r]+")  # which HTML runs together (WHATWG Infra, ASCII whitespace)

SEARCHED_FROM = 8  # characters; a shorter secret is found where it stands by chance


@dataclass(frozen=True, slots=True)
class Save:
    """One save: what was typed, by setting, and the stretch up to the next one."""

    purpose: str
    typed: dict[str, str]
    begin_s: float
    until_s: float


def booked_saves(window: Window) -> dict[str, Save]:
    """The saves of a leg, by the purpose that their requests bear."""
    booked = window.of("leg", "saves")
    ends_s = [m.time_s for m in booked[1:]] + [window.end_s] * bool(booked)
    found = (_save(moment, end_s) for moment, end_s in zip(booked, ends_s, strict=True))
    return {save.purpose: save for save in found}


def _save(moment: Moment, until_s: float) -> Save:
    typed = moment.data.get("typed")
    values = {name: str(value) for name, value in typed.items()} if isinstance(typed, dict) else {}
    return Save(moment.text("purpose"), values, moment.time_s, until_s)


def octets_of(text: str) -> str:
    """A text and its octets in UTF-8."""
    return f"{quoted(text)} ({text.encode(errors='surrogateescape').hex(' ')})"


class SavesView:
    """The saves of a leg, each by its purpose. Of a save that was planned and never came, every answer says why."""

    def __init__(self, views: Views) -> None:
        """Read through the views of a leg."""
        self._views = views
        self._window = views._window
        self._product = views._window.record.product
        self._saves = booked_saves(views._window)

    @property
    def planned(self) -> tuple[str, ...]:
        """The purposes of the saves that the leg was to make, in order."""
        plan = next(iter(self._window.of("leg", "plans saves")), None)
        purposes = plan.data.get("purposes") if plan else None
        return tuple(str(purpose) for purpose in purposes) if isinstance(purposes, list) else ()

    def typed(self, purpose: str) -> dict[str, str]:
        """What was typed, by setting; nothing where the save never came."""
        save = self._saves.get(purpose)
        return save.typed if save else {}

    def typed_as(self, purpose: str, role: str) -> str:
        """What was typed into the setting of a role."""
        return self.typed(purpose).get(self._product.form.by_role(role) or "", "")

    @property
    def secrets(self) -> dict[str, str]:
        """The secrets typed that are long enough to be searched for, by setting and purpose."""
        settings = self._product.form.settings
        typed = [(name, save.purpose, value) for save in self._saves.values() for name, value in save.typed.items()]
        return {
            f"{name} of {purpose}": value
            for name, purpose, value in typed
            if settings[name].secret and len(value) >= SEARCHED_FROM
        }

    def joined(self, purpose: str) -> Seen:
        """Whether the unit was given an address after a save, before the next one."""
        save, settled = self._saves.get(purpose), self._settled(purpose)
        if save is None or settled is not None:
            return settled or self._views.pages.served(purpose)
        if not self._product.form.saved.restarts and not self._changes_network(save):
            return self._views.access_point.kept_within(save.begin_s, save.until_s)
        return self._views.access_point.leased_within(save.begin_s, save.until_s)

    def _changes_network(self, save: Save) -> bool:
        roles = {self._product.form.settings[name].role for name in save.typed}
        return not roles.isdisjoint({"network", "network key"})

    def _settled(self, purpose: str) -> Seen | None:
        """What there is to say already of what follows a save: not answered, or refused as the product file promises."""
        answer = self._views.pages.answer(purpose)
        if isinstance(answer, Seen):
            return answer
        return Seen.not_promised() if self._is_declined(purpose, answer) else None

    def _is_declined(self, purpose: str, answer: Fetched) -> bool:
        settings = self._product.form.settings
        promised = any(settings[name].may_refuse(value) for name, value in self.typed(purpose).items())
        return promised and int(answer.moment.number("status", 0.0)) in CLIENT_ERRORS

    def one_was_taken(self, *purposes: str) -> Seen:
        """Whether each of some requests was answered, whatever with, and one of them with success."""
        answers = [self._views.pages.answer(purpose) for purpose in purposes]
        missing = next((answer for answer in answers if isinstance(answer, Seen)), None)
        if missing is not None:
            return missing
        fetched = [answer for answer in answers if isinstance(answer, Fetched)]
        words = " and ".join(f"status {answer.moment.text('status')}" for answer in fetched)
        return Seen(any(answer.answered_well for answer in fetched), f"answered with {words}", fetched[0].moment.time_s)

    def text_back(self, purpose: str) -> Seen:
        """Whether the form shows what was typed, whole; or refused it with a message, where the product file says so."""
        answer, pages, settings = self._views.pages.answer(purpose), self._views.pages, self._product.form.settings
        if isinstance(answer, Seen):
            return answer
        if not answer.answered_well:
            return self._refused(purpose, answer)
        for name, value in self.typed(purpose).items():
            control = pages.control(f"form after {purpose}", settings[name])
            if isinstance(control, Seen):
                return control
            shown = control.value if isinstance(control, Control) else ""
            if settings[name].prefilled and not kept_whole(settings[name], value, shown):
                return Seen(False, f"{name}: typed {octets_of(value)}, shown {octets_of(shown)}", answer.moment.time_s)
        return Seen(True, "shown as typed", answer.moment.time_s)

    def _refused(self, purpose: str, answer: Fetched) -> Seen:
        promised = self._is_declined(purpose, answer)
        why = "" if promised else "; the product file does not say that it may be"
        words = answer.page.text.strip()
        return Seen(promised and bool(words), f"{answer}, {quoted(words)}{why}", answer.moment.time_s)

    def associated_as_typed(self, purpose: str) -> Seen:
        """Whether each association request of the unit after a save bears the very octets of the name that was typed."""
        save, settled, air = self._saves.get(purpose), self._settled(purpose), self._views.air
        if save is None or settled is not None:
            return settled or self._views.pages.served(purpose)
        name = self.typed_as(purpose, "network")
        asked = self._heard("associates", save)
        odd = next((m for m in asked if m.text("name_octets") != name.encode().hex()), None)
        if odd is not None:
            return Seen(False, f"typed {octets_of(name)}, in the air {_heard_name(odd)}", odd.time_s)
        if asked:
            return Seen(True, f"the octets typed, {len(asked)} times", asked[0].time_s)
        gap = next((gap for gap in air.asleep if gap.meets(save.begin_s, save.until_s)), None)
        if gap is not None:
            return Seen.untold(asleep_text(air.witness, gap))
        sought = next((m for m in self._heard("seeks", save) if m.text("name_octets")), None)
        looked = f", but it looked for {_heard_name(sought)}" if sought else ""
        return Seen(False, f"no association request was heard, typed {octets_of(name)}{looked}")

    def _heard(self, kind: str, save: Save) -> list[Moment]:
        """Frames of the unit's station between a save and the next."""
        unit, found = self._window.record.fact("unit", "radio address").lower(), self._window.of("air", kind)
        return [m for m in found if m.text("from").lower() == unit and save.begin_s <= m.time_s <= save.until_s]

    def status_states_network(self, purpose: str) -> Seen:
        """Whether the status page states the network typed; blanks count as a page shows them, run together."""
        label = self._product.status.network
        if label is None:
            return Seen.not_promised()
        if (settled := self._settled(purpose)) is not None:
            return settled
        answer = self._views.pages.answer(f"status after {purpose}")
        if isinstance(answer, Seen):
            return answer
        found, name = value_of(answer.page, label), self.typed_as(purpose, "network")
        if found is None:
            return Seen(False, f"no value beside {label!r}", answer.moment.time_s)
        text = f"{label}: {octets_of(found)}, typed {octets_of(name)}"
        return Seen(_as_shown(found) == _as_shown(name), text, answer.moment.time_s)


def _heard_name(frame: Moment) -> str:
    octets = bytes.fromhex(frame.text("name_octets"))
    return f"{octets!r} ({octets.hex(' ')})"


def _as_shown(text: str) -> str:
    return _BLANKS.sub(" ", text).strip(" ")
