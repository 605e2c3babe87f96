"""Starts of a unit whose console is silent: by its lamp, and by a status page that counts from too late."""

from dataclasses import replace

from support.records import (
    Made,
    answered,
    awake,
    lamp_frames,
    make,
    moment,
    power,
    product_with,
    states,
    switchings,
)

from hil.core.moments import Moment
from hil.core.product import Product
from hil.evidence.resets import ResetsView

ON = power("on", 0.0)
FORM = moment(12.0, "ledger", "asked", asked_by="form")
NOW = "http://203.0.113.1/now"
STARTED_ONCE = [(0.5, "white"), (3.0, "blue")]
STARTED_TWICE = [*STARTED_ONCE, (14.5, "white"), (17.0, "green")]


def leg(
    *moments: Moment, plan: list[tuple[float, str]], page: bytes = b"", looked: bool = True, at_s: float = 0.0
) -> ResetsView:
    """The ledger of a leg of 30 s, before which the supply was off; `page` is the status page at 25 s."""
    return made(*moments, plan=plan, page=page, looked=looked).evidence(at_s, 30.0).resets


def made(
    *moments: Moment,
    plan: list[tuple[float, str]],
    page: bytes = b"",
    looked: bool = True,
    product: Product | None = None,
) -> Made:
    switched = switchings(-20.0, 31.0)
    frames = lamp_frames([(-20.0, "off"), *plan], switched, -20.0, 31.0) if looked else None
    fetched = [answered(25.0, "status", "status.html", url=NOW)] if page else []
    off = [power("off", -20.0), *states(-20.0, 0.0, on=False)]
    return make(
        [*off, *awake(0.0, 31.0), *switched, *fetched, ON, *moments],
        pages={"status.html": page},
        frames=frames,
        product=product or product_with({"console": {"speaks": False}}),
    )


def status(running_s: float) -> bytes:
    return f"<!DOCTYPE html><dl><dt>Running for</dt><dd>{running_s:g} s</dd></dl>".encode()


def test_a_person_may_miss_a_start() -> None:
    shown = [(-1.2, "dark"), (0.5, "starting"), (3.0, "joining"), (8.0, "connected")]
    pressed = [moment(time_s, "lamp by eye", "shows", doubt_s=0.9, watch=1, look=look) for time_s, look in shown]
    word = moment(33.0, "lamp by eye", "told", watch=1, since_s=0.0, until_s=30.0, whole=True)
    seen = leg(moment(-1.0, "lamp by eye", "keys"), *pressed, word, plan=[], looked=False).none_unasked()
    assert seen.holds is None


def test_the_lamp_shows_a_start_that_was_asked_for() -> None:
    resets = leg(plan=STARTED_ONCE)
    assert resets.witness == "camera"
    assert [(round(line.time_s, 1), line.asked_by) for line in resets.ledger] == [(0.5, "leg")]
    assert resets.none_unasked().holds is True


def test_a_start_that_nobody_asked_for_fails() -> None:
    seen = leg(plan=STARTED_TWICE).none_unasked()
    assert (seen.holds, round(seen.at_s or 0.0, 1)) == (False, 14.5)


def test_the_form_asks_for_one_start() -> None:
    assert leg(FORM, plan=STARTED_TWICE).starts_after("form").holds is True
    assert leg(FORM, plan=STARTED_TWICE).one_start_for_each("form").holds is True
    never = leg(FORM, plan=STARTED_ONCE).starts_after("form")
    assert (never.holds, never.text) == (False, "no start after the form")


def test_a_start_shown_from_before_the_leg_is_none_of_the_leg() -> None:
    assert leg(plan=STARTED_ONCE, at_s=2.0).ledger == ()


def test_a_camera_that_did_not_look_tells_of_no_start() -> None:
    for seen in (
        leg(plan=STARTED_ONCE, looked=False).none_unasked(),
        leg(FORM, plan=[], looked=False).starts_after("form"),
    ):
        assert seen.holds is None
        assert "camera asleep" in seen.text


def test_a_lamp_without_a_starting_stage_tells_of_no_start() -> None:
    product = product_with({"console": {"speaks": False}})
    stages = {name: stage for name, stage in product.stages.items() if name != "starting"}
    bare = made(plan=STARTED_ONCE, product=product.model_copy(update={"stages": stages}))
    assert bare.evidence(0.0, 30.0).resets.none_unasked().holds is None


def test_a_status_page_that_counts_from_the_start_betrays_nothing() -> None:
    """25 s after power on; a program may count somewhat later than the supply, and in whole seconds."""
    for said_s in (25.0, 24.0, 23.0):
        assert leg(plan=STARTED_ONCE, page=status(said_s)).none_unasked().holds is True


def test_a_status_page_that_counts_from_too_late_betrays_a_start_the_lamp_hid() -> None:
    seen = leg(plan=STARTED_ONCE, page=status(8.0)).none_unasked()
    assert seen.holds is False
    assert 15.0 < (seen.at_s or 0.0) < 18.0


def test_two_status_pages_that_count_from_one_start_betray_one() -> None:
    later = answered(29.0, "status later", "later.html", url=NOW)
    switched = made(later, plan=STARTED_ONCE, page=status(8.0)).record
    pages = {"status.html": status(8.0), "later.html": status(12.0)}
    both = Made(replace(switched, page=lambda name: pages[name]))
    assert len([line for line in both.evidence(0.0, 30.0).resets.ledger if line.asked_by is None]) == 1


def test_a_status_page_that_counts_from_a_restart_asked_for_betrays_nothing() -> None:
    assert leg(FORM, plan=STARTED_TWICE, page=status(11.0)).none_unasked().holds is True
