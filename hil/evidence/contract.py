"""What the form did with wrong values: refused with a message and nothing stored, taken and kept whole, or neither."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from hil.core.moments import Moment
from hil.core.product import Product
from hil.evidence.pages import Fetched, PagesView
from hil.evidence.seen import Seen
from hil.evidence.window import Window
from hil.page.contract import Kind, kept_whole
from hil.page.fill import ControlRule, find_control
from hil.page.page import NotFound, Page

SHOWN = 40  # characters of a long text that a sheet shows
CLIENT_ERRORS = range(400, 500)  # RFC 9110, 15.5: the request is at fault, not the server


@dataclass(frozen=True, slots=True)
class Tried:
    """One value that was sent, and whether the unit started anew after it."""

    moment: Moment
    restarted: bool

    @property
    def number(self) -> int:
        """Its place in the row."""
        return int(self.moment.number("number"))

    @property
    def setting(self) -> str:
        """The setting it was sent for."""
        return self.moment.text("setting")

    @property
    def value(self) -> str:
        """What was sent."""
        return self.moment.text("value")

    @property
    def may_keep(self) -> bool:
        """Whether it may be taken, if it is kept whole."""
        return self.moment.data.get("may_keep") is True

    @property
    def promised(self) -> str:
        """What is promised of it, in words; each of a leg has words of its own."""
        return f"{self.number}. {self.setting}: {quoted(self.value)} is refused, for {self.moment.text('what')}"


def quoted(text: str) -> str:
    """A text, or the beginning of a long one, and its length."""
    if len(text) <= SHOWN:
        return repr(text)
    return f"{text[:SHOWN]!r}… ({len(text.encode())} octets)"


def tried_values(window: Window) -> tuple[Tried, ...]:
    """The values a leg sent, in order."""
    restarts = {m.number("number") for m in window.of("leg", "restarted after a try")}
    return tuple(Tried(m, m.number("number") in restarts) for m in window.of("leg", "tried"))


def refusals(window: Window, pages: PagesView, product: Product, kind: Kind) -> Iterator[tuple[str, Seen]]:
    """For each value of a kind, whether it was refused and nothing stored, or kept whole where that will do."""
    of_kind = [tried for tried in tried_values(window) if tried.moment.text("try") == kind]
    for tried in of_kind:
        yield tried.promised, refused_or_kept(tried, pages, product)
    plan = next(iter(window.of("leg", "plans tries")), None)
    if plan is None:
        yield "every value is tried", pages.served("form before the tries")
        return
    planned, whole = plan.number(kind, 0.0), pages.has_all_settings("form before the tries")
    # Of a setting that the form does not show no value can be tried, and of a form that is not there, none at all.
    if (of_kind and whole.holds is False) or (not planned and whole.holds is not True):
        yield "every setting is on the form", whole
    if len(of_kind) < planned:
        left_out = any(m.text("try") == kind for m in window.of("leg", "leaves tries out"))
        text = f"{len(of_kind)} of {plan.number(kind):g}: the unit took too many of them"
        yield "every value is tried", Seen(False, text) if left_out else pages.served("values not tried")


def refused_or_kept(tried: Tried, pages: PagesView, product: Product) -> Seen:
    """What came of one value."""
    before = f"form after try {tried.number - 1}" if tried.number > 1 else "form before the tries"
    fetched = [pages.answer(p) for p in (f"try {tried.number}", before, f"form after try {tried.number}")]
    missing = next((page for page in fetched if isinstance(page, Seen)), None)
    if missing is not None:
        return missing
    answer, was, after = (page for page in fetched if isinstance(page, Fetched))
    status, good = int(answer.moment.number("status", 0.0)), pages.words_after_saving
    if status >= CLIENT_ERRORS.stop:
        return Seen(False, f"answered as an error of the unit's own, {answer}", answer.moment.time_s)
    if status in CLIENT_ERRORS or (good and answer.page.text != good):
        return _refused(tried, answer, changes(was.page, after.page, product))
    if not good and not tried.restarted:
        return Seen.untold(f"{PagesView.witness}: what the unit says of a form it takes was not recorded in this run")
    return _taken(tried, after, product)


def _refused(tried: Tried, answer: Fetched, changed: Mapping[str, tuple[str, str]]) -> Seen:
    if tried.restarted:
        return Seen(False, "refused, and yet the unit started anew", answer.moment.time_s)
    if changed:
        name, (before, after) = next(iter(changed.items()))
        text = f"refused, and yet {name} is changed: it showed {quoted(before)}, and shows {quoted(after)}"
        return Seen(False, text, answer.moment.time_s)
    if not answer.page.text.strip():
        return Seen(False, f"refused without a word: {answer}", answer.moment.time_s)
    return Seen(True, f"refused with status {answer.moment.text('status')}, nothing changed", answer.moment.time_s)


def _taken(tried: Tried, after: Fetched, product: Product) -> Seen:
    setting = product.form.settings[tried.setting]
    control = find_control(after.page, ControlRule(name=setting.control, label=setting.label))
    shown = "" if isinstance(control, NotFound) else control.value
    if not tried.may_keep:
        tail = "" if setting.secret else f"; the form shows {quoted(shown)} afterwards"
        return Seen(False, f"taken{tail}", after.moment.time_s)
    if setting.secret:
        return Seen.untold(
            f"{PagesView.witness}: taken, and no page shows whether it was kept whole; say its `longest` in the product file"
        )
    return Seen(
        kept_whole(setting, tried.value, shown),
        f"taken; the form shows {quoted(shown)} afterwards",
        after.moment.time_s,
    )


def changes(before: Page, after: Page, product: Product) -> dict[str, tuple[str, str]]:
    """The settings that one form shows otherwise than another, with what either shows."""
    found = {}
    for name, setting in product.form.settings.items():
        rule = ControlRule(name=setting.control, label=setting.label)
        controls = find_control(before, rule), find_control(after, rule)
        shown = tuple("" if isinstance(control, NotFound) else control.value for control in controls)
        if shown[0] != shown[1]:
            found[name] = (shown[0], shown[1])
    return found
