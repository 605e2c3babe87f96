"""What a unit held after each cut of its supply while it saved, and where in the save each cut came."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import inf

from hil.core.moments import Moment
from hil.core.product import Product
from hil.evidence.gave_up import gave_up
from hil.evidence.pages import Fetched, PagesView
from hil.evidence.power import PowerView
from hil.evidence.seen import Seen
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Window
from hil.page.page import Control

MEASURED = "save without a cut"


class Phase(StrEnum):
    """Where in a save a cut came, as the bench's own ends of the connection tell."""

    BEFORE = "before the request had arrived"
    BETWEEN = "between request and answer"
    AFTER = "after the answer"


class Held(StrEnum):
    """What a unit held after a cut."""

    OLD = "the old ones"
    NEW = "the new ones"
    NEITHER = "neither"
    UNTOLD = "not told"


@dataclass(frozen=True, slots=True)
class SaveCut:
    """One cut: which settings were being changed, and the stretch in which the unit ran again."""

    number: int
    after_s: float
    typed: Mapping[str, str]
    off_s: float
    on_s: float
    until_s: float

    @property
    def words(self) -> str:
        """Which cut it is, in words."""
        return f"cut {self.number}, {self.after_s:.3g} s after sending"


@dataclass(frozen=True, slots=True)
class CutOutcome:
    """What came of a cut: what was held, whether that is as promised, and the cut's place in the save.

    `since_sent_s` is the time from the request's sending to the cut; None, like `phase`, where that was not recorded.
    """

    cut: SaveCut
    held: Held
    seen: Seen
    phase: Phase | None
    since_sent_s: float | None


def save_cuts(window: Window) -> tuple[SaveCut, ...]:
    """The cuts of a leg, in order."""
    booked = window.of("leg", "saving was cut")
    ends_s = [m.time_s for m in booked[1:]] + [window.end_s] * bool(booked)
    return tuple(_cut(moment, end_s) for moment, end_s in zip(booked, ends_s, strict=True))


def _cut(moment: Moment, end_s: float) -> SaveCut:
    typed = moment.data.get("typed")
    changed = {name: str(value) for name, value in typed.items()} if isinstance(typed, dict) else {}
    number, after_s, off_s = int(moment.number("number")), moment.number("after_s"), moment.number("off_s")
    return SaveCut(number, after_s, changed, off_s, moment.time_s, end_s)


def stored_texts(product: Product, typed: Mapping[str, str]) -> dict[str, str]:
    """What the form must show of what was typed."""
    settings = product.form.settings
    return {name: value for name, value in typed.items() if settings[name].prefilled and not settings[name].secret}


class SaveCutsView:
    """The cuts of a leg, each with its outcome."""

    def __init__(
        self, window: Window, pages: PagesView, access_point: AccessPointView, power: PowerView, product: Product
    ) -> None:
        """Read a leg through its pages (what is held), access point (network settings), and power (that it was cut)."""
        self._window, self._product = window, product
        self._pages, self._access_point, self._power = pages, access_point, power
        self.cuts = save_cuts(window)

    def outcomes(self, saved: Mapping[str, str]) -> tuple[CutOutcome, ...]:
        """Each cut's outcome; `saved` is what the form showed before the first.

        Where a form shows neither old nor new settings, what it shows is the old of the next cut: one fault is told once.
        """
        held, found = dict(saved), []
        for cut in self.cuts:
            if cut is self.cuts[min(1, len(self.cuts) - 1)] and len(self.cuts) > 1:
                held = self._after_measured(held)
            word, seen, held = self._outcome(cut, held)
            phase, since_sent_s = self._place(cut)
            found.append(CutOutcome(cut, word, seen, phase, since_sent_s))
        return tuple(found)

    def _after_measured(self, held: dict[str, str]) -> dict[str, str]:
        """What was held after the save without a cut, which comes between the first cut and the second."""
        booked = next((m for m in self._window.of("leg", "saves") if m.text("purpose") == MEASURED), None)
        typed = booked.data.get("typed") if booked else None
        expected = held | {k: str(v) for k, v in typed.items()} if isinstance(typed, dict) else held
        return self._shown("settings without a cut", expected)

    def _outcome(self, cut: SaveCut, old: dict[str, str]) -> tuple[Held, Seen, dict[str, str]]:
        """What was held after a cut, whether that is as promised, and what is held from there on."""
        was_off = self._power.was_off(cut.off_s, cut.on_s)
        joined = self._access_point.leased_within(cut.on_s, cut.until_s)
        if was_off.holds is not True:
            return Held.UNTOLD, was_off, old
        if joined.holds is True and self._product.form.connected_path is None:
            return Held.UNTOLD, joined, old
        purpose, new = f"settings after cut {cut.number}", {**old, **stored_texts(self._product, cut.typed)}
        shows_old, shows_new = self._pages.shows(purpose, old), self._pages.shows(purpose, new)
        if shows_old.holds is None:
            return Held.UNTOLD, shows_old, old
        if shows_old.holds or shows_new.holds:
            word, held = (Held.NEW, new) if shows_new.holds else (Held.OLD, old)
            kept = Seen(True, word, shows_old.at_s)
            return word, joined if joined.holds is not True else kept, held
        told = min((shows_old, shows_new), key=lambda seen: len(seen.text))
        return Held.NEITHER, told, self._shown(purpose, old)

    def _shown(self, purpose: str, expected: dict[str, str]) -> dict[str, str]:
        """What a page showed of some settings; as expected where it shows nothing of one."""
        settings = self._product.form.settings
        controls = {name: self._pages.control(purpose, settings[name]) for name in expected}
        return {
            name: control.value if isinstance(control := controls[name], Control) else value
            for name, value in expected.items()
        }

    def _place(self, cut: SaveCut) -> tuple[Phase | None, float | None]:
        """Where in its save a cut came.

        The request arrived at the latest when reaching the unit took so long again; an answer is one that came whole.
        """
        save = self._pages.of(f"save before cut {cut.number}")
        if save is None:
            return None, None
        since_sent_s = cut.off_s - save.moment.time_s
        answered_s = save.moment.time_s + save.moment.number("total_s", inf)
        if save.moment.kind == "answered" and answered_s < cut.on_s:
            return Phase.AFTER, since_sent_s
        if save.moment.kind == "answered":  # by the unit's next life: it knocked until then
            return Phase.BEFORE, since_sent_s
        arrived_s = self._pages.way_s(cut.off_s)
        before = arrived_s is None or since_sent_s <= arrived_s
        return Phase.BEFORE if before else Phase.BETWEEN, since_sent_s

    def answer_s(self) -> float | None:
        """How long the answer to the save without a cut took, from its sending."""
        answer = self._pages.answer(MEASURED)
        return answer.moment.number("total_s") if isinstance(answer, Fetched) else None

    def seen_by_cut(self, saved: Mapping[str, str]) -> Iterator[tuple[str, Seen]]:
        """Whether each cut's outcome is as promised, by the cut; for a leg without one, why."""
        outcomes, left = self.outcomes(saved), gave_up(self._window)
        for outcome in outcomes:
            yield outcome.cut.words, outcome.seen
        if not outcomes:
            yield "a cut while saving", self._pages.served("settings after cut 1")
        elif left is not None and outcomes[-1].seen.holds:
            yield "the cuts and the saves that were left", left
        if outcomes and all(outcome.phase is Phase.BEFORE for outcome in outcomes):
            yield "a cut in a save", Seen.untold(f"{self._pages.witness}: no request had arrived by its cut")


def told_of(outcomes: Sequence[CutOutcome]) -> str:
    """How many cuts came where, and how many found what, in words."""
    held = Counter(outcome.held for outcome in outcomes)
    phases = Counter(outcome.phase for outcome in outcomes)
    parts = [f"{held[word]} held {word}" for word in (Held.OLD, Held.NEW, Held.NEITHER) if held[word]]
    places = [f"{phases[phase]} {phase}" for phase in Phase if phases[phase]]
    return f"{len(outcomes)} cuts: {', '.join(parts) or 'nothing told'}; {', '.join(places) or 'place in the save not known'}"
