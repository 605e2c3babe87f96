"""Updates over the network within a leg: what was sent, what the unit came back as, and images it was to refuse."""

import re
from dataclasses import dataclass

from hil.core.moments import Moment
from hil.core.readings import Occurrence, Reading, between
from hil.evidence.contract import CLIENT_ERRORS, quoted
from hil.evidence.gave_up import gave_up
from hil.evidence.lamp_by_eye import lamp_of
from hil.evidence.pages import WAY_UNKNOWN, Fetched
from hil.evidence.resets import EARLY_S
from hil.evidence.save_cuts import stored_texts
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.views import Views
from hil.evidence.window import Window
from hil.page.page import Control

COURSE = ("starting", "joining", "connected")


@dataclass(frozen=True, slots=True)
class Update:
    """One update: from which version to which, and the stretch from its sending to the last look at the unit."""

    purpose: str
    from_version: str
    to_version: str
    begin_s: float
    until_s: float


def booked_updates(window: Window) -> dict[str, Update]:
    """The updates of a leg, by the purpose that their requests bear."""
    over = {moment.text("purpose"): moment.time_s for moment in window.of("leg", "update is over")}
    return {update.purpose: update for update in (_booked(m, over, window) for m in window.of("leg", "updates"))}


def _booked(moment: Moment, over: dict[str, float], window: Window) -> Update:
    purpose = moment.text("purpose")
    until_s = over.get(purpose, window.end_s)
    return Update(purpose, moment.text("from_version"), moment.text("to_version"), moment.time_s, until_s)


class UpdatesView:
    """The updates of a leg, each by its purpose. Of an update that never came, every answer says why."""

    def __init__(self, views: Views) -> None:
        """Read through the views of a leg."""
        self._views = views
        self._window = views._window
        self._product = views._window.record.product
        self._updates = booked_updates(views._window)

    def taken(self, purpose: str) -> Seen:
        """Whether the image was answered with success."""
        answer = self._views.pages.answer(purpose)
        if isinstance(answer, Seen):
            return answer
        return Seen(answer.answered_well, f"{answer}, {quoted(_words(answer))}", answer.moment.time_s)

    def states_version(self, purpose: str) -> Seen:
        """Whether the status page after an update states the version sent."""
        update = self._update(purpose)
        if isinstance(update, Seen):
            return update
        label = self._product.status.version
        return self._views.pages.states(f"status after the {purpose}", label, update.to_version)

    def says_version(self, purpose: str) -> Seen:
        """Whether the console said the version sent, the last time it said one."""
        pattern, update, console = self._product.console.version, self._update(purpose), self._views.console
        if pattern is None:
            return Seen.not_promised()
        if isinstance(update, Seen):
            return update
        gap = next((gap for gap in console.asleep if gap.meets(update.begin_s, update.until_s)), None)
        lines = [m for m in console.lines if update.begin_s <= m.time_s <= update.until_s]
        told = [(m, found) for m in lines if (found := re.search(pattern, m.text("text"))) is not None]
        if not told:
            return Seen.untold(asleep_text(console.witness, gap)) if gap else Seen(False, "the console said no version")
        moment, found = told[-1]
        said = found[1] if found.lastindex else found[0]
        return Seen(said == update.to_version, f"said {said!r}, sent {update.to_version!r}", moment.time_s)

    def settings_kept(self, purpose: str) -> Seen:
        """Whether the form shows after an update what it showed before."""
        before = self._shown_before(purpose)
        if isinstance(before, Seen):
            return before
        return self._views.pages.shows(f"settings after the {purpose}", before)

    def _shown_before(self, purpose: str) -> dict[str, str] | Seen:
        """What the form showed before it of the settings typed; an older build need not have all of them."""
        pages, page, found = self._views.pages, f"settings before the {purpose}", dict[str, str]()
        for name in stored_texts(self._product, self._window.record.trial_values):
            control = pages.control(page, self._product.form.settings[name])
            if isinstance(control, Seen):
                return control
            if isinstance(control, Control):
                found[name] = control.value
        return found or Seen.untold(f"{pages.witness}: the form before the {purpose} shows no setting")

    def joined(self, purpose: str) -> Seen:
        """Whether the unit had an address of its network again after an update."""
        update = self._update(purpose)
        if isinstance(update, Seen):
            return update
        return self._views.access_point.leased_within(update.begin_s, update.until_s)

    def connected_again(self, purpose: str) -> Reading | Seen:
        """How long the unit took from the last octet sent to its next address."""
        update, sent = self._update(purpose), self._views.pages.answer(purpose)
        if isinstance(update, Seen):
            return update
        if isinstance(sent, Seen):
            return sent
        if not sent.answered_well:
            return self.taken(purpose)
        lease = self._views.access_point.first_within("leased", sent.moment.time_s, update.until_s)
        return between(self._arrived(sent), lease)

    def _arrived(self, sent: Fetched) -> Occurrence:
        """When the last octet was with the unit: after it was sent, by as much as dialling the unit took."""
        sent_s, way_s = sent.moment.time_s, self._views.pages.way_s(sent.moment.time_s)
        if way_s is None:
            end_s = sent_s + sent.moment.number("total_s", 0.0)
            return Occurrence(sent_s, end_s, measured=False, because=WAY_UNKNOWN)
        return Occurrence(sent_s - sent.moment.doubt_s, sent_s + way_s)

    def one_restart(self, purpose: str) -> Seen:
        """Whether an update led to one start, and to no more in the time that the bench stayed."""
        update, resets = self._update(purpose), self._views.resets
        if isinstance(update, Seen):
            return update
        begin_s = update.begin_s - EARLY_S
        starts = [line for line in resets.ledger if begin_s <= line.time_s <= update.until_s]
        if len(starts) > 1:
            return Seen(False, f"{len(starts)} starts after the {purpose}, one was asked for", starts[1].time_s)
        gap = next((gap for gap in resets.asleep if gap.meets(begin_s, update.until_s)), None)
        if gap is not None:
            return Seen.untold(asleep_text(resets.witness, gap))
        if not starts:
            return Seen(False, f"no start after the {purpose}", update.begin_s)
        return Seen(starts[0].asked_by == "update", f"one start, at {starts[0].time_s:.2f} s", starts[0].time_s)

    def lamp_while_sending(self, purpose: str) -> Seen:
        """Whether the lamp showed that the unit updates, and nothing else, while the image came."""
        update, sent = self._update(purpose), self._views.pages.answer(purpose)
        if "updating" not in self._product.stages:
            return Seen.not_promised()
        if isinstance(update, Seen):
            return update
        if isinstance(sent, Seen):
            return sent
        end_s = sent.moment.time_s + sent.moment.number("total_s", 0.0)
        return self._lamp_within(update.begin_s, end_s, ("updating",))

    def lamp_after_restart(self, purpose: str) -> Seen:
        """Whether the lamp showed from the restart on that the unit starts, joins and is connected, and nothing else."""
        update, restarted = self._update(purpose), self.one_restart(purpose)
        if isinstance(update, Seen):
            return update
        if restarted.holds is not True or restarted.at_s is None:
            return restarted
        return self._lamp_within(restarted.at_s, update.until_s, COURSE)

    def _lamp_within(self, begin_s: float, end_s: float, course: tuple[str, ...]) -> Seen:
        trouble = self._views.lamp.trouble
        if trouble:
            return Seen.untold(trouble)
        part = lamp_of(Window(self._window.leg, begin_s, end_s, self._window.record))
        return part.shows_in_order([stage for stage in course if stage in self._product.stages])

    def _update(self, purpose: str) -> Update | Seen:
        unplanned = Seen.untold(f"pages: no {purpose} was recorded")
        return self._updates.get(purpose) or gave_up(self._window) or unplanned

    def refused(self, purpose: str) -> Seen:
        """Whether what is no image for the unit was answered as the request's fault, with a message."""
        answer = self._views.pages.answer(purpose)
        if isinstance(answer, Seen):
            return answer
        words = _words(answer)
        good = int(answer.moment.number("status", 0.0)) in CLIENT_ERRORS and bool(words)
        return Seen(good, f"{answer}, {quoted(words)}", answer.moment.time_s)

    def same_version(self, before: str, after: str) -> Seen:
        """Whether two status pages, by their purposes, state one version."""
        pages, label = self._views.pages, self._product.status.version
        stated = pages.value(before, label)
        return stated if isinstance(stated, Seen) else pages.states(after, label, stated.strip())

    def no_restart(self) -> Seen:
        """Whether the unit did not start at all in the leg."""
        ledger, resets = self._views.resets.ledger, self._views.resets
        if ledger:
            return Seen(False, f"it started at {ledger[0].time_s:.2f} s", ledger[0].time_s)
        if resets.asleep:
            return Seen.untold(asleep_text(resets.witness, resets.asleep[0]))
        return gave_up(self._window) or Seen(True, "no start")


def _words(answer: Fetched) -> str:
    """What an answer says beyond its head, which a bare connection keeps."""
    _, _, body = answer.body.partition(b"\r\n\r\n")
    return body.decode(errors="replace").strip()
