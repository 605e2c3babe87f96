"""What a unit started as after each cut of its supply while it was updated, and what it held."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from hil.core.moments import Moment
from hil.evidence.gave_up import gave_up
from hil.evidence.save_cuts import stored_texts
from hil.evidence.seen import Seen
from hil.evidence.views import Views
from hil.evidence.window import Window


class Started(StrEnum):
    """Which version a unit ran after a cut."""

    OLD = "the old version"
    NEW = "the new version"
    SAME = "the only version"
    NEITHER = "neither"
    UNTOLD = "not told"


@dataclass(frozen=True, slots=True)
class UpdateCut:
    """One cut: when in the update it came, between which versions, and the stretch in which the unit ran again."""

    number: int
    when: str
    share: float | None
    from_version: str
    to_version: str
    off_s: float
    on_s: float
    until_s: float

    @property
    def words(self) -> str:
        """Which cut it is, in words."""
        return f"cut {self.number}, {self.when}"


@dataclass(frozen=True, slots=True)
class UpdateCutOutcome:
    """What came of a cut: which version started, and whether all is as promised."""

    cut: UpdateCut
    started: Started
    seen: Seen


def update_cuts(window: Window) -> tuple[UpdateCut, ...]:
    """The cuts of a leg, in order."""
    booked = window.of("leg", "updating was cut")
    ends_s = [m.time_s for m in booked[1:]] + [_over_s(window)] * bool(booked)
    return tuple(_cut(moment, end_s) for moment, end_s in zip(booked, ends_s, strict=True))


def _over_s(window: Window) -> float:
    """When the cuts were over, and the unit was flashed anew."""
    over = window.of("leg", "cuts are over")
    return over[-1].time_s if over else window.end_s


def _cut(moment: Moment, end_s: float) -> UpdateCut:
    octets = moment.data.get("octets")
    share = float(octets) / moment.number("of") if isinstance(octets, int | float) else None
    versions = moment.text("from_version"), moment.text("to_version")
    off_s = moment.number("off_s")
    return UpdateCut(int(moment.number("number")), moment.text("when"), share, *versions, off_s, moment.time_s, end_s)


class UpdateCutsView:
    """The cuts of a leg, each with its outcome."""

    def __init__(self, views: Views) -> None:
        """Read a leg through its pages (version, settings), access point (that it came back) and power (that it was cut)."""
        self._views = views
        self._window = views._window
        self._product = views._window.record.product
        self.cuts = update_cuts(views._window)

    def outcomes(self) -> tuple[UpdateCutOutcome, ...]:
        """Each cut's outcome."""
        saved = stored_texts(self._product, self._window.record.trial_values)
        return tuple(UpdateCutOutcome(cut, self.started(cut), self._seen(cut, saved)) for cut in self.cuts)

    def started(self, cut: UpdateCut) -> Started:
        """Which version the status page stated after a cut."""
        stated = self._views.pages.value(_status(cut), self._product.status.version)
        if isinstance(stated, Seen):
            return Started.UNTOLD
        if cut.from_version == cut.to_version == stated.strip():
            return Started.SAME
        return {cut.from_version: Started.OLD, cut.to_version: Started.NEW}.get(stated.strip(), Started.NEITHER)

    def _seen(self, cut: UpdateCut, saved: Mapping[str, str]) -> Seen:
        """Whether the supply was off, and the unit came back by itself as one of the two, with its settings."""
        was_off = self._views.power.was_off(cut.off_s, cut.on_s)
        joined = self._views.access_point.leased_within(cut.on_s, cut.until_s)
        if was_off.holds is not True:
            return was_off
        stated = self._views.pages.value(_status(cut), self._product.status.version)
        if isinstance(stated, Seen):
            return joined if joined.holds is not True else stated
        words = f"started as {stated.strip()!r}"
        if stated.strip() not in (cut.from_version, cut.to_version):
            return Seen(False, f"{words}, not {cut.from_version!r} nor {cut.to_version!r}")
        kept = Seen(True, words)
        if self._product.form.connected_path is not None:
            kept = self._views.pages.shows(f"settings after cut {cut.number}", dict(saved))
        if kept.holds is not True:
            return kept
        return joined if joined.holds is not True else Seen(True, words, joined.at_s)

    def seen_by_cut(self) -> Iterator[tuple[str, Seen]]:
        """Whether each cut's outcome is as promised, by the cut; for a leg without one, why."""
        outcomes, left = self.outcomes(), gave_up(self._window)
        for outcome in outcomes:
            yield outcome.cut.words, outcome.seen
        if not outcomes:
            yield "a cut while updating", self._views.pages.served("status after cut 1")
        elif left is not None and outcomes[-1].seen.holds:
            yield "the cuts that were left", left


def _status(cut: UpdateCut) -> str:
    return f"status after cut {cut.number}"


def told_of_updates(outcomes: Sequence[UpdateCutOutcome]) -> str:
    """How many cuts came when, and as what the unit started, in words."""
    started = Counter(outcome.started for outcome in outcomes)
    parts = [f"{started[word]} started {word}" for word in Started if started[word] and word is not Started.UNTOLD]
    during = sum(outcome.cut.share is not None for outcome in outcomes)
    return f"{len(outcomes)} cuts, {during} of them while sending: {', '.join(parts) or 'nothing told'}"
