"""A leg that ended before its time: for want of an instrument, or because the unit let it get no further."""

from hil.evidence.seen import Seen
from hil.evidence.window import Window


def gave_up(window: Window) -> Seen | None:
    """Why a leg got no further: untold for want of an instrument, else the unit's failure; None where it went on."""
    booked = next(iter(window.of("leg", "gave up")), None)
    if booked is None:
        return None
    told = f"the leg got no further: {booked.text('why')}"
    return cut_short(window) or Seen(False, told, booked.time_s)


def cut_short(window: Window) -> Seen | None:
    """Which instrument a leg ended for want of: what it was to do after that, nobody saw; None where it did not."""
    booked = next((m for m in window.of("leg", "gave up") if m.text("instrument")), None)
    if booked is None:
        return None
    return Seen.untold(f"{booked.text('instrument')}: the leg got no further: {booked.text('why')}")
