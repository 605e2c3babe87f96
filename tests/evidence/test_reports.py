"""Reports while their receiver answers, is silent and refuses, and the lease meanwhile (RFC 2131 4.4.5: T2 at 0.875 of it)."""

from collections.abc import Iterable

import pytest
from support.records import SECRETS, UNIT, awake, make, moment

from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.reports import ReportsView
from hil.evidence.seen import Seen
from hil.evidence.stations import AccessPointView

BEGIN_S, END_S = 100.0, 200.0
LEASE_S = 120.0
KEY = SECRETS["report_key"]


def ap(time_s: float, kind: str, **data: str | float) -> Moment:
    return moment(time_s, "access point", kind, doubt_s=0.05, **data)


def of_unit(time_s: float, kind: str, **data: str | float) -> Moment:
    return ap(time_s, kind, address=UNIT, **data)


def report(time_s: float, path: str = "/vents", authorization: str = f"Bearer {KEY}") -> Moment:
    return ap(time_s, "report", path=path, authorization=authorization)


UP = ap(100.5, "up", lease_s=LEASE_S, channel=3, radio=0, bssid="02:00:00:00:00:c0")
PHASES = [
    ap(at_s, "takes reports", manner=manner)
    for at_s, manner in ((101.0, "answers"), (108.0, "is silent"), (135.0, "refuses"), (153.0, "answers"))
]
LEASED = of_unit(105.0, "leased", ip="198.51.100.2")
RENEWED = of_unit(165.0, "leased", ip="198.51.100.2")
CALLED = ap(121.0, "called")


def view(*moments: Moment, phases: Iterable[Moment] = PHASES, silent: tuple[float, float] = (0.0, 0.0)) -> ReportsView:
    awake_moments = [m for m in awake(98.0, 202.0) if not (m.kind == "answering" and silent[0] < m.time_s < silent[1])]
    window = make([*awake_moments, UP, *phases, *moments]).window(BEGIN_S, END_S)
    return ReportsView(window, AccessPointView(window))


def read(reading: Reading | Seen) -> Reading:
    assert isinstance(reading, Reading), reading
    return reading


def assert_is(reading: Reading, value_s: float) -> None:
    """The reading is that, with the doubt of two moments of 0.05 s each (GUM, 5.1.2: in squares)."""
    doubt_s = 0.05 * 2**0.5
    assert (reading.low, reading.high) == pytest.approx((value_s - doubt_s, value_s + doubt_s))


def told(reading: Reading | Seen) -> Seen:
    assert isinstance(reading, Seen), reading
    return reading


def test_the_first_report_is_timed_from_the_address() -> None:
    reading = read(view(LEASED, report(106.0)).first())
    assert_is(reading, 1.0)


def test_without_one_the_time_is_longer_than_was_watched() -> None:
    """The first phase ends at 108 s: what comes later came to a receiver that says nothing."""
    reading = read(view(LEASED, report(154.0)).first())
    assert reading.low == pytest.approx(2.95)
    assert reading.high == float("inf")
    assert reading.because == ""


def test_without_an_address_there_is_no_first_report_to_time() -> None:
    assert told(view(report(106.0)).first()).holds is False
    assert told(view(report(106.0), silent=(104.0, 110.0)).first()).holds is None


def test_reports_come_again_from_when_the_receiver_answers_again() -> None:
    reading = read(view(LEASED, report(106.0), report(160.0)).again())
    assert_is(reading, 7.0)
    assert read(view(LEASED, report(106.0)).again()).low == pytest.approx(46.95)


def test_a_leg_that_did_not_come_so_far_tells_nothing_of_it() -> None:
    gone = moment(150.0, "leg", "gave up", instrument="access point", why="its radio is gone")
    assert "never came" in told(view(LEASED, phases=PHASES[:3]).again()).text
    assert "its radio is gone" in told(view(LEASED, gone, phases=PHASES[:3]).again()).text


def test_an_access_point_that_slept_where_a_report_would_have_come_leaves_it_open() -> None:
    reading = read(view(LEASED, report(106.0), report(185.0), silent=(170.0, 180.0)).again())
    assert (reading.low, reading.high) == pytest.approx((16.95, 32.1))
    assert "access point asleep" in reading.because


@pytest.mark.parametrize(
    ("sent", "holds"),
    [
        (report(106.0), True),
        (report(106.0, path="/vent"), False),
        (report(106.0, authorization=""), False),
        (report(106.0, authorization=f"Bearer {KEY}x"), False),
        (report(106.0, authorization=KEY), False),
    ],
)
def test_reports_must_be_as_typed(sent: Moment, holds: bool) -> None:
    assert view(LEASED, sent).as_typed("/vents", KEY).holds is holds
    assert view(LEASED, report(105.5), sent).as_typed("/vents", KEY).holds is holds


def test_no_report_is_no_report_as_typed() -> None:
    assert view(LEASED).as_typed("/vents", KEY).holds is False
    assert view(LEASED, silent=(110.0, 120.0)).as_typed("/vents", KEY).holds is None
    assert view(LEASED, report(106.0, authorization="")).as_typed("/vents", None).holds is True


def test_it_must_have_called_while_nobody_answered() -> None:
    assert view(LEASED, CALLED).tried().holds is True
    assert view(LEASED, ap(106.0, "called")).tried().holds is False
    assert view(LEASED, silent=(112.0, 116.0)).tried().holds is None
    assert view(LEASED, CALLED, phases=PHASES[:1]).tried().holds is None


def test_it_stays_until_it_leaves_or_joins_anew() -> None:
    joined = of_unit(104.0, "joined")
    assert view(joined, LEASED).stayed().holds is True
    for kind in ("left", "joined"):
        assert view(joined, LEASED, of_unit(130.0, kind)).stayed().holds is False
    assert view(joined, LEASED, silent=(140.0, 150.0)).stayed().holds is None
    assert view(joined).stayed().holds is False


def test_a_lease_is_renewed_where_the_address_is_given_again() -> None:
    seen = view(LEASED, RENEWED)
    reading = read(seen.renewed())
    assert_is(reading, 60.0)
    assert seen.renewal.upper == pytest.approx(0.875 * LEASE_S)


def test_a_lease_that_is_not_renewed_took_longer_than_was_watched() -> None:
    assert read(view(LEASED).renewed()).low == pytest.approx(94.95)
    asleep = read(view(LEASED, silent=(150.0, 160.0)).renewed())
    assert asleep.low == pytest.approx(44.95)
    assert asleep.because


def test_who_leaves_and_joins_anew_has_renewed_nothing() -> None:
    anew = (of_unit(155.0, "left"), of_unit(156.0, "joined"), RENEWED)
    seen = told(view(LEASED, *anew).renewed())
    assert (seen.holds, seen.text) == (False, "left before it had asked to keep its address")
