"""What a unit held after each cut of its supply while it saved."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from hil.core.product import Product
from hil.evidence.pages import PagesView
from hil.evidence.seen import Seen
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Window
from hil.page.page import Control


@dataclass(frozen=True, slots=True)
class SaveCut:
    """One cut: which setting was being changed to which value, and the stretch in which the unit ran again."""

    number: int
    after_s: float
    setting: str
    value: str
    on_s: float
    until_s: float

    @property
    def promised(self) -> str:
        """What is promised of it, in words."""
        return f"cut {self.number}, {self.after_s:g} s after sending: old settings or new ones"


def save_cuts(window: Window) -> tuple[SaveCut, ...]:
    """The cuts of a leg, in order."""
    booked = window.of("leg", "saving was cut")
    ends_s = [m.time_s for m in booked[1:]] + [window.end_s] * bool(booked)
    return tuple(
        SaveCut(int(m.number("number")), m.number("after_s"), m.text("setting"), m.text("value"), m.time_s, end_s)
        for m, end_s in zip(booked, ends_s, strict=True)
    )


def old_or_new(
    cuts: tuple[SaveCut, ...],
    pages: PagesView,
    access_point: AccessPointView,
    product: Product,
    saved: Mapping[str, str],
) -> Iterator[tuple[str, Seen]]:
    """For each cut, whether the unit joined its network again, and whether its form shows old settings or new ones.

    Args:
        cuts: The cuts of the leg.
        pages: Its pages.
        access_point: Witness of the network settings, which no page shows in full.
        product: Says what the form is.
        saved: What the form must show when nothing is changed, by setting.
    """
    held = dict(saved)
    for cut in cuts:
        joined = access_point.leased_within(cut.on_s, cut.until_s)
        yield f"{cut.promised}, and its network joined again", joined
        if joined.holds is True and product.form.connected_path is None:
            continue
        purpose = f"settings after cut {cut.number}"
        control = pages.control(purpose, product.form.settings[cut.setting])
        if isinstance(control, Control) and control.value == cut.value:
            held[cut.setting], word = cut.value, "new"
        else:
            word = "old"
        seen = pages.shows(purpose, held)
        yield cut.promised, Seen(seen.holds, f"the {word} ones" if seen.holds else seen.text, seen.at_s)
    if not cuts:
        yield "a cut while saving", pages.served("settings after cut 1")
