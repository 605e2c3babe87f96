"""What the form must refuse, and what an edit of one setting must leave alone."""

from collections import Counter
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

from hil.core.form_promise import Setting
from hil.core.moments import Json
from hil.core.product import Product
from hil.core.stages import Connected, Setup
from hil.instruments.bench import Bench
from hil.legs.door import (
    Door,
    book_save,
    come_back_after_save,
    doubt_store,
    fill_in,
    hotspot_door,
    network_door,
    other_value,
    refused,
    save_and_come_back,
    save_through,
    wait_restart,
)
from hil.legs.leg import leg
from hil.legs.moves import give_up, watch_stay
from hil.legs.start import STAY_S
from hil.page.contract import Try, kept_whole, tries
from hil.page.fill import ControlRule, FormRequest, find_control
from hil.page.page import NotFound, Page

MOST_WRONG = 2
"""So many values of a kind taken and not kept are enough: each costs a start, and what is left would tell nothing more."""
TRY_S = 0.3
TRIES = 30


@leg(
    begins=Setup(store="bench network"),
    ends=Setup(),
    expected_s=lambda _product: TRIES * TRY_S + 3.0,
    profile="release",
)
def form_refuses(bench: Bench, product: Product) -> None:
    """Send the form one wrong value after another through the hotspot: each must be refused, or else be kept whole."""
    bench.access_point.down()  # a unit that takes a value restarts, and must come back to its hotspot
    door = hotspot_door(bench, product)
    if door is None:
        return
    page = door.look("form before the tries")
    planned = tries(page, product, bench.trial.values)
    bench.timeline.add("leg", "plans tries", details=dict(Counter(one.kind for one in planned)))
    trial = _Trial(bench, product, door)
    trial.run(page, planned)
    if trial.spoilt and (trial.door is None or _restore(bench, product, trial.door) is None):
        doubt_store(bench, "a value that was taken could not be undone")
    bench.probe.leave()


class _Trial:
    """Values tried one after another: where the form is, and whether the unit may hold any of them by now."""

    def __init__(self, bench: Bench, product: Product, door: Door) -> None:
        self.door: Door | None = door
        self.spoilt = False
        self._wrong = Counter[str]()
        self._bench, self._product = bench, product

    def run(self, page: Page, planned: list[Try]) -> None:
        """Try each value on the form as it then is, as long as the unit shows it."""
        number = 0
        for one in planned:
            if self._wrong[one.kind] >= MOST_WRONG:
                self._bench.timeline.add("leg", "leaves tries out", details={"try": one.kind})
                continue
            number += 1
            request = fill_in(self._bench, self._product, page, {one.setting: one.value, **one.beside}, freely=True)
            if request is None:
                return
            restarted = self._try(request, number, one)
            if self.door is None:
                return
            page = self.door.look(f"form after try {number}")
            setting = self._product.form.settings[one.setting]
            kept = one.may_keep and kept_whole(setting, one.value, _shown(page, setting))
            self._wrong[one.kind] += restarted and not kept

    def _try(self, request: FormRequest, number: int, one: Try) -> bool:
        """Send one value; where the unit does not plainly refuse it, see whether it restarts, and follow it."""
        bench, product, door = self._bench, self._product, self.door
        if door is None:
            return False
        details: dict[str, Json] = {"number": number, "setting": one.setting, "try": one.kind}
        details |= {"value": one.value, "what": one.what, "may_keep": one.may_keep}
        tried = bench.timeline.add("leg", "tried", details=details)
        mark = bench.timeline.mark()
        answer = door.send(request, f"try {number}")
        if refused(answer):
            return False
        self.spoilt = True
        if not wait_restart(bench, product, mark):
            return False
        if answer.outcome == "answered":
            bench.timeline.add("ledger", "asked", time_s=tried.time_s, asked_by="form")
        bench.timeline.add("leg", "restarted after a try", number=number)
        self.door = come_back_after_save(bench, product, door, mark)
        return True


def _shown(page: Page, setting: Setting) -> str:
    control = find_control(page, ControlRule(name=setting.control, label=setting.label))
    return "" if isinstance(control, NotFound) else control.value


def _restore(bench: Bench, product: Product, door: Door) -> Door | None:
    """Type in again what the unit held before; None where the unit does not take it or does not come back."""
    values = {**product.form.address_values(), **bench.trial.values}
    request = fill_in(bench, product, door.look("form to restore"), values)
    if request is None:
        return None
    return save_and_come_back(bench, product, door, request, "restore", {})


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=lambda product: 2.0 * (product.limits.connected_s.upper or 0.0) + STAY_S + 2.0,
    profile="release",
)
def form_edited(bench: Bench, product: Product) -> None:
    """Change one setting and leave the secrets blank, then change it back with the form sent twice at once."""
    name, door = product.form.text_to_change, network_door(bench, product)
    if name is None or door is None:
        return
    after = _edit(bench, product, door, {name: other_value(bench.trial.values[name])})
    if after is None or not after.connected:
        _lost(bench, "the edit was not taken, or the unit did not come back to its network")
        return
    last = _edit_twice(bench, product, after, {name: bench.trial.values[name]})
    if last is None or not last.connected:
        _lost(bench, "the edit was not undone, or the unit did not come back to its network")
        return
    watch_stay(bench, STAY_S)  # a second restart would come in this time
    last.look("settings after the double submit")


def _lost(bench: Bench, why: str) -> None:
    give_up(bench, why)
    doubt_store(bench, why)


def _edit(bench: Bench, product: Product, door: Door, typed: Mapping[str, str]) -> Door | None:
    request = fill_in(bench, product, door.look("settings before the edit"), typed)
    if request is None:
        return None
    mark = save_through(bench, door, request, "edit", typed)
    if mark is None:
        give_up(bench, "the edit was refused")
        return None
    return come_back_after_save(bench, product, door, mark)


def _edit_twice(bench: Bench, product: Product, door: Door, typed: Mapping[str, str]) -> Door | None:
    """Send the same form twice without waiting for the first answer, as a double click on its button does."""
    request = fill_in(bench, product, door.look("settings after the edit"), typed)
    if request is None:
        return None
    mark = book_save(bench, "edit back", typed)
    with ThreadPoolExecutor(max_workers=2, thread_name_prefix="form") as senders:
        sent = [senders.submit(door.send, request, purpose) for purpose in ("edit back", "edit back once more")]
        answers = [future.result() for future in sent]
    if all(refused(answer) for answer in answers):
        give_up(bench, "both of a double submit were refused")
        return None
    return come_back_after_save(bench, product, door, mark)
