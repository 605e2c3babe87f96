"""Pages of the unit, by the purpose the leg fetched them for.

A page that was asked for and not answered is the unit's failure; a page that was never asked for, because the unit let
nobody in, likewise; a page of which nothing at all is recorded is `untold`.
"""

import hashlib
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cached_property

from hil.core.awake import asleep, first_within
from hil.core.form_promise import Form, Setting
from hil.core.moments import Moment
from hil.core.readings import Occurrence, Reading
from hil.core.text import count
from hil.evidence.gave_up import gave_up
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.window import Window
from hil.page.fill import ControlRule, find_control
from hil.page.page import Control, NotFound, Page, shown_by, value_of
from hil.page.search import find_secret
from hil.page.whole_form import beside_purpose, whole_form

PROBE_GAP_S = 2.0  # longest time between two answers of the probe that still proves it awake
DIALLED_BEFORE_S = (
    0.25  # by which a request may seem to begin after it was dialled: both are stamped in threads of their own
)
WAY_UNKNOWN = "pages: how long the way to the unit took was not recorded"


@dataclass(frozen=True)
class Fetched:
    """A request and what came of it."""

    moment: Moment
    body: bytes
    page: Page

    @property
    def is_whole(self) -> bool:
        """Whether the body is the one that was recorded with the moment."""
        stated = self.moment.text("sha256")
        return not stated or hashlib.sha256(self.body).hexdigest() == stated

    @property
    def answered_well(self) -> bool:
        """Whether the unit answered with a page and no error status."""
        return self.moment.kind == "answered" and 200 <= self.moment.number("status", 0.0) < 400

    @property
    def said(self) -> bytes:
        """All that came from the unit and may hold a secret: the body, and the addresses it sent us on to."""
        earlier = self.moment.data.get("redirects")
        urls = [str(url) for url in earlier] if isinstance(earlier, list) else []
        led_to = [*urls[1:], self.moment.text("url")] if urls else []  # the first one was ours to ask for
        return b"\n".join([self.body, *(text.encode() for text in (*led_to, self.moment.text("location")))])

    def __str__(self) -> str:
        """In words."""
        status = f" with status {self.moment.text('status')}" if self.moment.kind == "answered" else ""
        return f"{self.moment.text('method')} {self.moment.text('url')}: {self.moment.kind}{status}"


class PagesView:
    """Requests of a leg and their answers."""

    witness = "pages"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window

    @cached_property
    def fetched(self) -> tuple[Fetched, ...]:
        """Every request of the leg, in order."""
        kinds = {kind for source, kind in self._window.record.by_kind if source == "pages"}
        return tuple(self._fetch(moment) for moment in self._window.of("pages", *sorted(kinds)))

    def _fetch(self, moment: Moment) -> Fetched:
        return Fetched(moment, *self._window.record.answered(moment))

    def of(self, purpose: str) -> Fetched | None:
        """The last request for a purpose; where the form is spread over several, its page is the whole of it."""
        fetched = self._last.get(purpose)
        if fetched is None or self._form.is_one_page:
            return fetched
        beside = {path: self._last.get(beside_purpose(purpose, path)) for path in self._form.beside}
        read = {path: part.page for path, part in beside.items() if part and part.is_whole and part.answered_well}
        return replace(fetched, page=whole_form(self._form, fetched.page, read))

    @property
    def _form(self) -> Form:
        return self._window.record.product.form

    @cached_property
    def _last(self) -> dict[str, Fetched]:
        return {fetched.moment.text("purpose"): fetched for fetched in self.fetched}

    def served(self, purpose: str) -> Seen:
        """Whether a page was answered, as a page."""
        fetched = self.of(purpose)
        if fetched is None:
            return self.never_asked(purpose)
        if not fetched.is_whole:
            return self._damaged(fetched)
        good = fetched.answered_well and (self._is_page(fetched) or self._for_script(fetched))
        return Seen(good, str(fetched), fetched.moment.time_s)

    def _is_page(self, fetched: Fetched) -> bool:
        """Whether a person reads it, or a script that the product file tells of."""
        return fetched.page.is_html or (fetched.page.is_json and not self._form.is_one_page)

    def _for_script(self, fetched: Fetched) -> bool:
        """Whether it answers what a script sent: that shows a person words of its own."""
        return self._form.request is not None and fetched.moment.text("method") != "GET"

    def answer(self, purpose: str) -> Fetched | Seen:
        """The unit's answer to a request, whatever its status; where there is none, why."""
        fetched = self.of(purpose)
        if fetched is None:
            return self.never_asked(purpose)
        if not fetched.is_whole:
            return self._damaged(fetched)
        if fetched.moment.kind != "answered":
            return Seen(False, str(fetched), fetched.moment.time_s)
        return fetched

    @cached_property
    def words_after_saving(self) -> str:
        """What a person read after a form that was taken, in the whole run; empty where that was not recorded."""
        booked = reversed(self._window.all("pages", "answered"))  # the last of several forms is followed by the restart
        saves = (self._fetch(m) for m in booked if m.text("purpose") == "save" and m.number("status", 0.0) < 400)
        return next((fetched.page.text for fetched in saves if fetched.is_whole), "")

    def never_asked(self, purpose: str) -> Seen:
        """Why nothing came of a purpose that no request is recorded for."""
        return gave_up(self._window) or Seen.untold(f"{self.witness}: no request for the {purpose} was recorded")

    def _damaged(self, fetched: Fetched) -> Seen:
        return Seen.untold(f"{self.witness}: the answer to {fetched.moment.text('purpose')!r} is not what was recorded")

    @property
    def asked(self) -> tuple[str, ...]:
        """The purposes for which the leg asked for pages, in order."""
        return tuple(m.text("purpose") for m in self._window.of("leg", "asks for a page"))

    def _lost(self) -> str | None:
        """A purpose that the leg asked a page for, and of which no outcome is recorded."""
        asked = Counter(self.asked)
        booked = Counter(f.moment.text("purpose") for f in self.fetched)
        return next(iter(asked - booked), None)

    def first_octet(self, purpose: str) -> Reading | Seen:
        """How long the unit took to its first octet, from when it was dialled, less the lag there and back."""
        fetched = self.of(purpose)
        if fetched is None:
            return self.never_asked(purpose)
        if fetched.moment.kind != "answered":
            return Reading(fetched.moment.number("total_s", 0.0), float("inf"), "s")
        took_s = fetched.moment.number("first_octet_s")
        way = self._way(fetched.moment.time_s + took_s)
        if way is None or way.time_s < fetched.moment.time_s - DIALLED_BEFORE_S:  # that was for another request
            return Reading(0.0, took_s, "s", WAY_UNKNOWN)
        longest_s = fetched.moment.time_s + took_s - way.time_s
        return Reading(max(longest_s - 2.0 * way.doubt_s, 0.0), longest_s, "s")

    def took(self, purpose: str) -> Reading | Seen:
        """How long a request took to its outcome, whatever that was, less the lag there and back."""
        fetched = self.of(purpose)
        if fetched is None:
            return self.never_asked(purpose)
        took_s = fetched.moment.number("total_s", 0.0)
        if fetched.moment.kind == "silent":
            return Reading(took_s, float("inf"), "s")
        way = self._way(fetched.moment.time_s + took_s)
        if way is None:
            return Reading(0.0, took_s, "s", WAY_UNKNOWN)
        return Reading(max(took_s - 2.0 * way.doubt_s, 0.0), took_s, "s")

    def _way(self, until_s: float) -> Moment | None:
        """When, and how long, the bench last dialled a service up to a time; None where that was not recorded."""
        reached = [self._window.last_before(until_s, source, "reached") for source in ("probe", "access point")]
        inside = [moment for moment in reached if moment is not None and moment.time_s >= self._window.begin_s]
        return max(inside, key=lambda moment: moment.time_s, default=None)

    def way_s(self, until_s: float) -> float | None:
        """How long reaching the unit took when it was last dialled up to a time; None where that was not recorded."""
        way = self._way(until_s)
        return None if way is None else way.number("took_s")

    def answered_at(self, purpose: str) -> Occurrence:
        """When a request was answered to its end."""
        fetched = self.of(purpose)
        if fetched is None or fetched.moment.kind != "answered":
            because = f"{self.witness}: no answer to the {purpose} was recorded"
            return Occurrence.not_before(self._window.begin_s, because)
        end_s = fetched.moment.time_s + fetched.moment.number("total_s", 0.0)
        way = self._way(end_s)
        if way is None:
            return Occurrence(fetched.moment.time_s, end_s, measured=False, because=WAY_UNKNOWN)
        return Occurrence(end_s - way.number("took_s"), end_s)

    def control(self, purpose: str, setting: Setting) -> Control | NotFound | Seen:
        """The control of a setting on a page; the pages beside it that tell of the setting must be there, too."""
        served = self.served(purpose)
        fetched = self.of(purpose)
        if served.holds is not True or fetched is None:
            return served
        for path in self._form.told_at(setting):
            beside = self.served(beside_purpose(purpose, path))
            if beside.holds is not True:
                return beside
        return find_control(fetched.page, ControlRule(name=setting.control, label=setting.label))

    def has_all_settings(self, purpose: str) -> Seen:
        """Whether the form has a control for each setting of the product file."""
        missing = []
        for name, setting in self._window.record.product.form.settings.items():
            control = self.control(purpose, setting)
            if isinstance(control, Seen):
                return control
            if isinstance(control, NotFound):
                missing.append(name)
        return Seen(not missing, "missing: " + ", ".join(missing) if missing else "every setting has its control")

    def shows(self, purpose: str, expected: dict[str, str]) -> Seen:
        """Whether the form shows these values, by setting."""
        served = self.served(purpose)
        if served.holds is not True:
            return served
        wrong = []
        for name, value in expected.items():
            control = self.control(purpose, self._window.record.product.form.settings[name])
            if isinstance(control, Seen):
                return control
            found = shown_by(control) if isinstance(control, Control) else None
            if found != value:
                wrong.append(f"{name} shows {found!r}, not {value!r}")
        return Seen(not wrong, "; ".join(wrong) or f"{count(len(expected), 'value')} as expected", self._at(purpose))

    def value(self, purpose: str, label: str) -> str | Seen:
        """A value of the status page, by the label beside it."""
        served = self.served(purpose)
        fetched = self.of(purpose)
        if served.holds is not True or fetched is None:
            return served
        found = value_of(fetched.page, label)
        return found if found is not None else Seen(False, f"no value beside {label!r}", fetched.moment.time_s)

    def _at(self, purpose: str) -> float | None:
        fetched = self.of(purpose)
        return fetched.moment.time_s if fetched else None

    def without_secrets(self, secrets: dict[str, str]) -> Seen:
        """Whether no page holds a secret in any encoding, whole or broken off; every page asked for must be recorded."""
        if (leak := self.leak(secrets)) is not None:
            return leak
        damaged = next((f for f in self.fetched if not f.is_whole), None)
        if damaged is not None:
            return self._damaged(damaged)
        if (lost := self._lost()) is not None:
            return Seen.untold(f"{self.witness}: no outcome of the request for the {lost} was recorded")
        read = [f for f in self.fetched if f.moment.kind == "answered"]
        if not read:
            return self.never_asked("page")
        return Seen(True, f"{count(len(read), 'answer')} searched, no secret in them")

    def leak(self, secrets: dict[str, str]) -> Seen | None:
        """The secrets in pages, if there are any, each where it stands first: none hides behind another."""
        found: dict[str, tuple[str, float]] = {}
        for fetched in self.fetched:
            for name in secrets.keys() - found.keys():
                for hit in find_secret(fetched.said, secrets[name])[:1]:
                    where = f"{name} ({hit.encoding}) in the answer to {fetched.moment.text('purpose')!r}"
                    found[name] = (where, fetched.moment.time_s)
        told = [found[name] for name in secrets if name in found]
        return Seen(False, "; ".join(where for where, _ in told), min(at_s for _, at_s in told)) if told else None

    def without_texts(self, texts: dict[str, str]) -> Seen:
        """The same for throw-away names: nothing of the bench stands in a page."""
        return self.without_secrets(texts)

    def states(self, purpose: str, label: str | None, expected: str | None) -> Seen:
        """Whether the status page states a value, beside its label."""
        if label is None:
            return Seen.not_promised()
        found = self.value(purpose, label)
        if isinstance(found, Seen):
            return found
        if expected is None:
            return Seen.untold(f"access point: no value to hold {label!r} against")
        return Seen(found.strip() == expected, f"{label}: {found!r}, by our records {expected!r}", self._at(purpose))

    def states_something(self, purpose: str, label: str) -> Seen:
        """Whether there is a value beside a label."""
        found = self.value(purpose, label)
        return found if isinstance(found, Seen) else Seen(bool(found.strip()), f"{label}: {found!r}", self._at(purpose))

    def refused_with(self, purpose: str, *statuses: int) -> Seen:
        """Whether a request was answered with one of those statuses."""
        fetched = self.of(purpose)
        if fetched is None:
            return self.never_asked(purpose)
        return Seen(fetched.moment.number("status", 0.0) in statuses, str(fetched), fetched.moment.time_s)

    def turned_away(self, purpose: str, *, also: Collection[str] = ()) -> Seen:
        """Whether a request got an error status, or the connection ended without an answer.

        `also` says what else will do: "success" (2xx), "redirect" (3xx), "refusal" (of the connection), "silence".
        Silence is the unit's only while the probe, through which it was asked, is witnessed to have been there.
        """
        fetched = self.of(purpose)
        if fetched is None:
            return self.never_asked(purpose)
        outcome = _outcome_of(fetched.moment)
        if outcome in ("error", "closed", *also):
            return Seen(True, str(fetched), fetched.moment.time_s)
        if outcome in ("silence", "refusal") and (deaf := self._probe_asleep(fetched.moment)):
            return Seen.untold(deaf)
        return Seen(False, str(fetched), fetched.moment.time_s)

    def let_in(self, purpose: str) -> Seen:
        """Whether the unit let a connection in, whatever came of it then; one that we ended ourselves will do."""
        return self.turned_away(purpose, also=("hung up", "success", "redirect"))

    def head_alone(self, purpose: str) -> Seen:
        """Whether the answer to a bare request, if any, is a head and nothing after it."""
        fetched = self.of(purpose)
        if fetched is None:
            return self.never_asked(purpose)
        if not fetched.is_whole:
            return self._damaged(fetched)
        after = len(fetched.body.partition(b"\r\n\r\n")[2])
        return Seen(after == 0, f"{fetched}, {after} octets after the head", fetched.moment.time_s)

    def _probe_asleep(self, asked: Moment) -> str:
        """Why the probe may not have been there while a request waited for its answer; empty where it was."""
        times = [m.time_s for m in self._window.all("probe", "answering")]
        end_s = asked.time_s + asked.number("total_s", 0.0)
        gap = first_within(asleep(times, asked.time_s, end_s, PROBE_GAP_S), asked.time_s, end_s)
        return asleep_text("probe", gap) if gap else ""

    def same_values(self, earlier: str, later: str) -> Seen:
        """Whether the form shows, for every setting, what it showed before."""
        shown: dict[str, str] = {}
        for name, setting in self._window.record.product.form.settings.items():
            control = self.control(earlier, setting)
            if isinstance(control, Seen):
                return control
            if isinstance(control, Control):
                shown[name] = shown_by(control)
        return self.shows(later, shown) if shown else Seen(False, f"the {earlier} shows no setting", self._at(earlier))


def _outcome_of(moment: Moment) -> str:
    """What came of a request, in the words of `turned_away`."""
    if moment.kind == "answered":
        status = moment.number("status", 0.0)
        return "error" if status >= 400.0 else "redirect" if status >= 300.0 else "success"
    kinds = {"closed": "closed", "cut off": "closed", "refused": "refusal", "silent": "silence"}
    return kinds.get(moment.kind, moment.kind)
