"""The supply cut while the unit saves, again and again: afterwards it must hold the old settings or the new ones."""

from collections.abc import Mapping
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from math import inf

from hil.core.moments import Json, Moment
from hil.core.product import Product
from hil.core.stages import Connected, Setup
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer
from hil.legs.door import (
    Door,
    book_save,
    come_back,
    come_back_after_save,
    doubt_store,
    fill_in,
    hotspot_door,
    refused,
    save_and_come_back,
)
from hil.legs.leg import leg
from hil.legs.moves import CUT_S, cut_supply, give_up, wait_connected
from hil.legs.restart import restarts
from hil.page.fill import ControlRule, FormRequest, find_control
from hil.page.page import NotFound, Page

HOTSPOT_CUT_AFTER_S = 0.05
"""The one cut of a save through the hotspot. A save takes some 10 to 100 ms (sector erase 45 ms, page program below 1 ms:
typical of serial flash, from memory), so this comes early in it."""
CLOSE_CUTS, LATE_CUTS = 24, 6
"""Cuts while the save is answered and shortly after, where most units write; and up to the restart, where some still do.
Thirty without a failure leave a true rate below 9.6 % (95 %, Clopper-Pearson), so a night's run makes more of them."""
BEYOND = 1.5  # the close cuts end at so many times the time of the answer
LEAST_SPAN_S = 0.1  # they cover at least this, however quick the answer
REACHED_S = 2.0  # patience with a connection to the unit
START_S = 4.0  # power on to connected as most units take it; no source


def _expected_s(product: Product) -> float:
    if product.form.connected_path is None:
        return CUT_S + START_S
    restart_s = (product.limits.restart_s.upper or 0.0) if product.limits.restart_s else 0.0
    cuts = 1 + CLOSE_CUTS + LATE_CUTS
    return cuts * (CUT_S + START_S) + 2.0 * (restart_s + START_S)


@leg(
    begins=Setup(store="bench network"),
    ends=Connected(),
    expected_s=_expected_s,
    profile="release",
    switches=2 * (1 + CLOSE_CUTS + LATE_CUTS),
)
def save_cut(bench: Bench, product: Product) -> None:
    """Change settings and cut the supply while they are saved, thirty times from early to late; each time see what is held."""
    if product.form.text_to_change is None or product.form.connected_path is None:
        # Nobody could see, time after time, what is held: the unit only goes where the leg ends.
        bench.access_point.up(bench.network)
        wait_connected(bench, product.limits.connected_s.patience_s, cut_supply(bench))
        return
    # An answer that the cut kept from coming is awaited beside the rest, not before it.
    with ThreadPoolExecutor(max_workers=CLOSE_CUTS + LATE_CUTS, thread_name_prefix="form") as senders:
        sweep = _Sweep(bench, product, senders)
        door = hotspot_door(bench, product)
        # Not before: a unit that nobody visits may leave its hotspot for its network.
        bench.access_point.up(bench.network)
        sweep.run(door)
    for answer in sweep.sent:
        answer.result()


@dataclass(frozen=True)
class _Looked:
    """The form as it is just now: where it can be had, and what it shows."""

    door: Door
    page: Page
    purpose: str

    @classmethod
    def at(cls, door: Door, purpose: str) -> "_Looked":
        return cls(door, door.look(purpose), purpose)


@dataclass(frozen=True)
class _SaveTimes:
    """How long a save takes, from its sending: to the end of its answer, and to the restart after it."""

    answer_s: float
    restart_s: float


class _Sweep:
    """One cut after another, as long as the unit comes back to its network; every look between them is evidence."""

    def __init__(self, bench: Bench, product: Product, senders: Executor) -> None:
        self.sent: list[Future[Answer]] = []
        self._bench, self._product, self._senders = bench, product, senders
        self._number = 0

    def run(self, door: Door | None) -> None:
        """Cut once through the hotspot, measure a save, spread the other cuts over it, and put the settings right again."""
        seen = _Looked.at(door, "form before the cuts") if door else None
        seen = self._cut(seen, HOTSPOT_CUT_AFTER_S)
        seen, times = self._measure(seen)
        for after_s in delays_s(times.answer_s, times.restart_s) if times else ():
            seen = self._cut(seen, after_s)
        if seen is None or not self._restored(seen):
            doubt_store(self._bench, "what the cuts left could not be undone")

    def _request(self, seen: _Looked | None, changed: Mapping[str, str]) -> FormRequest | None:
        """Type everything in again with the change; None where the form is not to be had or not to be filled in."""
        if seen is None:
            return None
        return fill_in(self._bench, self._product, seen.page, {**self._bench.trial.values, **changed})

    def _cut(self, seen: _Looked | None, after_s: float) -> _Looked | None:
        """Save, cut, and look what is held; None where there is no form, or no way to save any more."""
        number = self._number + 1
        typed = changes(self._product, self._bench.trial.values, number)
        request = self._request(seen, typed)
        if seen is None or request is None:
            return None
        self._number, door, bench = number, seen.door, self._bench
        bench.timeline.add("ledger", "asked", asked_by="form")
        mark = bench.timeline.mark()
        self.sent.append(self._senders.submit(door.send, request, f"save before cut {number}"))
        # A request that still knocks when the supply goes would knock on, and be let in by the unit's next life.
        bench.timeline.wait(_reached, limit_s=REACHED_S, awaited="the way to the form", since=mark)
        bench.clock.pause(after_s)
        details: dict[str, Json] = {"number": number, "after_s": after_s, "typed": dict(typed)}
        mark = _cut_supply(bench, door, details)
        back = come_back(bench, self._product, mark, self._product.limits.connected_s.patience_s)
        if back is None:
            return None
        held = _Looked.at(back, f"settings after cut {number}")
        return held if back.connected else None

    def _measure(self, seen: _Looked | None) -> tuple[_Looked | None, _SaveTimes | None]:
        """A save without a cut: when its answer is whole, and when the unit restarts."""
        bench, product = self._bench, self._product
        typed = changes(product, bench.trial.values, 0)
        request = self._request(seen, typed)
        if seen is None or request is None:
            return None, None
        mark = book_save(bench, "save without a cut", typed)
        answer = seen.door.send(request, "save without a cut")
        back = None if refused(answer) else come_back_after_save(bench, product, seen.door, mark)
        if back is None or not back.connected:
            give_up(bench, "a save without a cut was refused, or the unit did not come back to its network")
            return None, None
        sent_s, answer_s = bench.clock.at(answer.begun_monotonic_s), bench.clock.unit_s(answer.total_s)
        return _Looked.at(back, "settings without a cut"), _SaveTimes(answer_s, self._restart_at_s(mark) - sent_s)

    def _restart_at_s(self, since: int) -> float:
        """When the unit was noticed to restart: a hint of where to cut, no more. Infinite where it was not."""
        shows = restarts(self._bench, self._product)
        return next((moment.time_s for moment in self._bench.timeline.since(since) if shows(moment)), inf)

    def _restored(self, seen: _Looked) -> bool:
        """Type in again what the run typed first; whether the unit came back to its network and shows just that."""
        bench, product = self._bench, self._product
        request = self._request(seen, {})
        if request is None:
            return False
        back = save_and_come_back(bench, product, seen.door, request, "restore", {})
        if back is None or not back.connected:
            return False
        return _shows(back.look("settings restored"), product, bench.trial.values)


def delays_s(answer_s: float, restart_s: float) -> list[float]:
    """When to cut, from when the form was reached: closely to shortly after its answer, sparsely on to the restart."""
    span_s = max(BEYOND * answer_s, LEAST_SPAN_S)
    close = [span_s * at / (CLOSE_CUTS - 1) for at in range(CLOSE_CUTS)]
    late_s = max(min(restart_s, 2.0 * span_s + 2.0), 2.0 * span_s) - span_s  # a restart nobody heard: two seconds more
    return close + [span_s + late_s * (at + 0.5) / LATE_CUTS for at in range(LATE_CUTS)]


def changes(product: Product, trial: Mapping[str, str], number: int) -> dict[str, str]:
    """What a save changes: a text that is new each time, and by turns the other settings, so that no mixture looks whole.

    A setting without a role goes from its trial value to its default and back; both are good beside one another.
    """
    changed = {}
    if (text := product.form.text_to_change) is not None:
        stem, tail = trial[text][:-2], f"{number:02d}"
        changed[text] = stem + (tail if not trial[text].endswith(tail) else "zz")
    for name, setting in product.form.settings.items():
        if setting.default and setting.trial and setting.prefilled and setting.role is None:
            changed[name] = setting.default if number % 2 else trial[name]
    return changed


def _reached(moment: Moment) -> bool:
    """Whether it says that a service of the unit was dialled and answered."""
    return moment.kind == "reached" and moment.source in ("probe", "access point")


def _shows(page: Page, product: Product, values: Mapping[str, str]) -> bool:
    """Whether a form shows these values, where it shows what is stored."""
    for name, value in values.items():
        setting = product.form.settings[name]
        control = find_control(page, ControlRule(name=setting.control, label=setting.label))
        if setting.prefilled and (isinstance(control, NotFound) or control.value != value):
            return False
    return True


def _cut_supply(bench: Bench, door: Door, what: dict[str, Json]) -> int:
    """Switch the supply off and on again, and book what for; a mark on the timeline from between the two."""
    cut = bench.power.off(asked_by="leg")
    if not door.connected:
        bench.probe.leave()
    bench.clock.pause(CUT_S)
    mark = bench.timeline.mark()
    switched = bench.power.on(asked_by="leg")
    bench.timeline.add("leg", "saving was cut", time_s=switched.time_s, details={**what, "off_s": cut.time_s})
    return mark
