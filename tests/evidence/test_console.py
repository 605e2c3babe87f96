"""The console's view. Silence is no proof: the port must be open, nothing lost, and a line heard since each start."""

import pytest
from support.records import line, make, moment, power, product_with, start_line

from hil.core.moments import Moment
from hil.core.product import Product
from hil.evidence.console import ConsoleView
from hil.evidence.leaks import no_secret_said

BEGIN_S, END_S = 100.0, 130.0
OPENED = moment(50.0, "console", "opened", port="loop://")
FLASHED = moment(40.0, "flasher", "verified", matches=True)
SPOKEN = (OPENED, power("on", 101.0), start_line(101.2), line(105.0, "stage: joining"))


def view(*moments: Moment, product: Product | None = None) -> ConsoleView:
    return ConsoleView(make(moments, product=product).window(BEGIN_S, END_S))


def silent_product() -> Product:
    return product_with({"console": {"speaks": False, "stages": {}, "version": None}})


def gaps(seen: ConsoleView) -> list[tuple[float, float]]:
    return [(gap.begin_s, gap.end_s) for gap in seen.asleep]


def test_a_unit_that_speaks_after_its_start_proves_the_console_awake() -> None:
    assert gaps(view(*SPOKEN)) == []
    assert view(*SPOKEN).no_crash().holds is True


@pytest.mark.parametrize(
    "text",
    [
        "Traceback (most recent call last):",
        "Guru Meditation Error: Core 0 panic'ed",
        "abort() was called at PC 0x4008",
        "task_wdt: wdt reset",
        "Brownout detector was triggered",
    ],
)
def test_crash_text_fails_and_is_quoted(text: str) -> None:
    seen = view(*SPOKEN, line(120.0, f"  {text}")).no_crash()
    assert (seen.holds, seen.at_s) == (False, 120.0)
    assert text[-9:] in seen.text


def test_a_traceback_is_told_with_the_error_it_came_to() -> None:
    trace = [
        line(120.0, "Traceback (most recent call last):"),
        line(120.1, '  File "main.py", line 7'),
        line(120.2, "OSError: no free port"),
        line(120.3, "ets Jul 29 2019"),
    ]
    assert "then 'OSError: no free port'" in view(*SPOKEN, *trace).no_crash().text


def test_crash_text_outside_the_leg_is_another_leg_s() -> None:
    assert view(*SPOKEN, line(99.0, "Traceback"), line(131.0, "Traceback")).no_crash().holds is True


def test_crash_text_counts_though_the_console_slept_elsewhere() -> None:
    lost = moment(125.0, "console", "lost", why="unplugged")
    assert view(*SPOKEN, line(120.0, "Traceback"), lost).no_crash().holds is False


def test_a_line_within_the_doubt_of_the_switching_is_one_after_it() -> None:
    """The chip may speak before the order to the supply is told done; one of long before that is another start's."""
    assert gaps(view(OPENED, start_line(100.99), power("on", 101.0, doubt_s=0.02), power("off", 101.3))) == []
    assert gaps(view(OPENED, start_line(100.9), power("on", 101.0, doubt_s=0.02), power("off", 101.3))) != []


def test_a_start_without_a_line_after_it_is_mute() -> None:
    mute = view(OPENED, power("on", 101.0, doubt_s=0.02))
    assert gaps(mute) == [(pytest.approx(100.98), END_S)]
    seen = mute.no_crash()
    assert seen.holds is None
    assert "console asleep from 101.0 s" in seen.text


def test_each_start_needs_its_own_line() -> None:
    again = view(*SPOKEN, power("off", 110.0), power("on", 112.0))
    assert gaps(again) == [(pytest.approx(111.98), END_S)]


def test_a_start_for_the_flasher_alone_is_not_mute() -> None:
    """The port is closed for it until the supply is off again; opened before that, the console should have heard the unit."""
    given, back = moment(100.9, "console", "closed"), moment(109.0, "console", "opened")
    off, written = power("off", 108.0), moment(107.0, "flasher", "verified")
    assert gaps(view(OPENED, power("on", 101.0), given, written, off, back)) == []
    assert gaps(view(OPENED, power("on", 101.0), given, off, back)) != []  # closed, and nobody knows what for
    assert gaps(view(OPENED, power("on", 101.0), given, moment(105.0, "console", "opened"), off)) != []


def test_a_line_while_the_supply_was_on_is_enough() -> None:
    assert gaps(view(OPENED, power("on", 101.0), start_line(101.2), power("off", 110.0))) == []


def test_a_line_since_a_start_before_the_leg_is_enough() -> None:
    """A unit that was started earlier may have nothing to say."""
    assert gaps(view(OPENED, power("on", 60.0), start_line(60.2))) == []
    assert gaps(view(OPENED, power("on", 60.0))) == [(BEGIN_S, END_S)]
    before = (OPENED, power("on", 60.0), start_line(60.2), power("off", 70.0))
    assert gaps(view(*before, power("on", 80.0))) == [(BEGIN_S, END_S)]


@pytest.mark.parametrize(
    ("moments", "expected"),
    [
        ([], [(BEGIN_S, END_S)]),
        ([moment(112.0, "console", "lost", why="unplugged")], [(112.0, END_S)]),
        ([moment(112.0, "console", "overrun", kept=1)], [(112.0, END_S)]),
        ([moment(112.0, "console", "flood")], [(112.0, END_S)]),
        ([moment(112.0, "console", "flood"), moment(114.0, "console", "flood over", lines=9)], [(112.0, 114.0)]),
        ([moment(95.0, "console", "flood"), moment(104.0, "console", "flood over", lines=9)], [(BEGIN_S, 104.0)]),
    ],
)
def test_no_port_or_lost_output_is_asleep(moments: list[Moment], expected: list[tuple[float, float]]) -> None:
    spoken = SPOKEN if moments else SPOKEN[1:]
    assert gaps(view(*spoken, *moments)) == expected
    assert view(*spoken, *moments).no_crash().holds is None


@pytest.mark.parametrize("kind", ["lost", "closed", "overrun"])
def test_a_port_that_went_before_the_leg_and_never_came_back_is_asleep(kind: str) -> None:
    """A silent unit says nothing, so the port alone can tell that somebody listened."""
    gone = view(FLASHED, OPENED, moment(90.0, "console", kind), power("on", 101.0), product=silent_product())
    assert gaps(gone) == [(BEGIN_S, END_S)]
    assert no_secret_said(gone, {}).holds is None


def test_a_port_that_was_opened_again_before_the_leg_is_awake() -> None:
    again = [FLASHED, OPENED, moment(90.0, "console", "closed"), moment(95.0, "console", "opened")]
    assert gaps(view(*again, power("on", 101.0), product=silent_product())) == []


def test_a_port_that_is_opened_only_within_the_leg_was_asleep_until_then() -> None:
    late = [FLASHED, OPENED, moment(90.0, "console", "lost"), power("on", 101.0), moment(115.0, "console", "opened")]
    assert gaps(view(*late, product=silent_product())) == [(BEGIN_S, 115.0)]


def test_the_flasher_s_own_use_of_the_port_is_no_console_output() -> None:
    """Closed and opened again within a leg: nothing the program says is lost, since it does not run."""
    session = [moment(103.0, "console", "closed"), moment(110.0, "console", "opened")]
    assert gaps(view(FLASHED, OPENED, power("on", 101.0), *session, product=silent_product())) == []


def test_a_silent_console_that_was_open_throughout_is_awake() -> None:
    quiet = view(FLASHED, OPENED, power("on", 101.0), product=silent_product())
    assert gaps(quiet) == []
    assert no_secret_said(quiet, {"key": "nk-3x5v8b2c6n1m"}).holds is True


def test_a_silent_console_through_whose_wire_nothing_was_ever_heard_is_asleep() -> None:
    """Its wire may be cut: the flasher, or any line, shows that it is not."""
    assert gaps(view(OPENED, power("on", 101.0), product=silent_product())) == [(BEGIN_S, END_S)]
    assert gaps(view(OPENED, line(60.0, "x"), power("on", 101.0), product=silent_product())) == []
    later = moment(131.0, "flasher", "verified", matches=True)
    assert gaps(view(OPENED, later, product=silent_product())) == [(BEGIN_S, END_S)]


def test_a_silent_console_promises_nothing_of_crashes_and_is_blamed_for_one_all_the_same() -> None:
    seen = view(FLASHED, OPENED, product=silent_product()).no_crash()
    assert (seen.holds, seen.promised) == (None, False)
    seen = view(FLASHED, OPENED, line(120.0, "Traceback"), product=silent_product()).no_crash()
    assert (seen.holds, seen.promised) == (False, True)


def test_a_product_without_crash_patterns_has_no_crash_text() -> None:
    product = product_with({"console": {"crash": []}})
    assert view(*SPOKEN, line(120.0, "Traceback"), product=product).no_crash().holds is True


def test_starts_are_the_chip_s_own_banners() -> None:
    seen = view(*SPOKEN, start_line(120.0, "0xc (SW_CPU_RESET)"), line(121.0, "restart counter 3"))
    assert [m.time_s for m in seen.starts] == [101.2, 120.0]


def test_what_was_said_first() -> None:
    found = view(*SPOKEN, line(121.0, "stage: joining")).said("stage: joining")
    assert found is not None
    assert found.time_s == 105.0
    assert view(*SPOKEN).said("stage: setup") is None
