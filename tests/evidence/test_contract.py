"""What the form did with wrong values, judged on records made by hand.

The promise (refused with a message and nothing stored, or kept whole; never cut in silence) is that of the product file;
status codes by RFC 9110, 15.5 (4xx: the request is at fault).
"""

import pytest
from support.forms import form_with
from support.records import Made, answered, make, moment

from hil.core.moments import Json, Moment
from hil.evidence.seen import Seen
from hil.page.contract import Kind

LONG = "vent-4k2" + "0123456789" * 3
GOOD = b"<!DOCTYPE html><p>Saved. Restarting.</p>"
WRONG = b"<!DOCTYPE html><p>Not saved: it is too long.</p>"


def tried(number: int, setting: str = "unit_name", value: str = LONG, *, may_keep: bool = False) -> Moment:
    details: dict[str, Json] = {"number": number, "setting": setting, "try": "too long", "value": value}
    return moment(10.0 * number, "leg", "tried", **details, what="it is too long", may_keep=may_keep)


def plan(count: int) -> Moment:
    return moment(1.0, "leg", "plans tries", **{"too long": count})


def record(answer: bytes, status: int, after: bytes, *more: Moment, value: Moment | None = None) -> Made:
    """One value tried: the form before it, the answer, the form after it; a good save of an earlier leg is on record."""
    moments = [
        answered(-50.0, "save", "save"),
        plan(1),
        answered(2.0, "form before the tries", "before"),
        value or tried(1),
        answered(11.0, "try 1", "answer", status=status),
        answered(12.0, "form after try 1", "after"),
    ]
    pages = {"save": GOOD, "before": form_with(), "answer": answer, "after": after}
    return make([*moments, *more], pages=pages)


def seen(made: Made, kind: Kind = "too long") -> list[Seen]:
    return list(made.evidence(0.0, 100.0, "pages").refusals(kind).values())


def the_one(made: Made) -> Seen:
    (only,) = seen(made)
    return only


@pytest.mark.parametrize("status", [400, 422, 200])
def test_a_refusal_with_a_message_passes_by_status_or_by_other_words(status: int) -> None:
    assert the_one(record(WRONG, status, form_with())).holds is True


def test_a_refusal_without_a_word_fails() -> None:
    found = the_one(record(b"<!DOCTYPE html><p></p>", 400, form_with()))
    assert (found.holds, "without a word" in found.text) == (False, True)


def test_a_cut_is_seen_for_what_it_is() -> None:
    found = the_one(record(GOOD, 200, form_with(unit_name=LONG[:32])))
    assert (found.holds, found.text) == (False, f"taken; the form shows {LONG[:32]!r} afterwards")


def test_a_refusal_that_stores_after_all_fails() -> None:
    found = the_one(record(WRONG, 400, form_with(unit_name=LONG[:32])))
    assert (found.holds, "unit_name is changed" in found.text) == (False, True)


def test_a_refusal_that_changes_another_setting_fails() -> None:
    found = the_one(record(WRONG, 400, form_with(network="")))
    assert (found.holds, "network is changed" in found.text) == (False, True)


def test_a_refusal_with_a_restart_fails() -> None:
    found = the_one(record(WRONG, 400, form_with(), moment(11.5, "leg", "restarted after a try", number=1)))
    assert (found.holds, "started anew" in found.text) == (False, True)


def test_the_same_words_as_after_a_good_save_are_no_refusal() -> None:
    assert the_one(record(GOOD, 200, form_with())).holds is False


def test_an_error_of_the_unit_s_own_is_no_refusal() -> None:
    found = the_one(record(WRONG, 500, form_with()))
    assert (found.holds, "error of the unit's own" in found.text) == (False, True)


@pytest.mark.parametrize(("shown", "holds"), [(LONG, True), (LONG[:32], False)])
def test_what_may_be_kept_must_be_kept_whole(shown: str, holds: bool) -> None:
    assert the_one(record(GOOD, 200, form_with(unit_name=shown), value=tried(1, may_keep=True))).holds is holds


def test_whether_a_secret_is_kept_whole_no_page_can_tell() -> None:
    found = the_one(record(GOOD, 200, form_with(), value=tried(1, "report_key", may_keep=True)))
    assert found.holds is None
    assert found.text.startswith("pages: ")


def test_a_unit_that_does_not_answer_fails() -> None:
    made = record(WRONG, 400, form_with())
    silent = [m for m in made.record.moments if m.text("purpose") != "try 1"]
    found = the_one(make([*silent, answered(11.0, "try 1", "", kind="silent")], pages={"before": form_with()}))
    assert (found.holds, "silent" in found.text) == (False, True)


@pytest.mark.parametrize("gone", ["try 1", "form after try 1", "form before the tries"])
def test_pages_that_were_not_recorded_leave_it_unjudged(gone: str) -> None:
    made = record(WRONG, 400, form_with())
    pages = {"before": form_with(), "answer": WRONG, "after": form_with()}
    found = the_one(make([m for m in made.record.moments if m.text("purpose") != gone], pages=pages))
    assert (found.holds, "pages" in found.text) == (None, True)


def test_values_left_out_for_the_unit_s_doing_fail_and_for_the_bench_s_are_unjudged() -> None:
    assert seen(make([plan(1)]))[0].holds is None
    left_out = moment(20.0, "leg", "leaves tries out", **{"try": "too long"})
    assert [s.holds for s in seen(make([plan(1), left_out]))] == [False]
    gone = moment(20.0, "leg", "gave up", why="its radio is gone", instrument="probe")
    assert [s.holds for s in seen(make([plan(1), gone]))] == [None]
    lost = moment(20.0, "leg", "gave up", why="waited 45 s for the hotspot", instrument="")
    assert [s.holds for s in seen(make([plan(1), lost]))] == [False]


def test_a_leg_that_planned_nothing_at_all_does_not_pass() -> None:
    assert [s.holds for s in seen(make([]))] == [None]


def test_a_kind_the_product_has_no_value_of_is_nothing_to_judge() -> None:
    assert seen(record(WRONG, 400, form_with()), "blank") == []


def test_where_no_good_save_is_on_record_words_alone_tell_nothing() -> None:
    def without_save(*more: Moment) -> Made:
        made = record(GOOD, 200, form_with(unit_name=LONG[:32]), *more)
        pages = {"before": form_with(), "answer": GOOD, "after": form_with(unit_name=LONG[:32])}
        return make([m for m in made.record.moments if m.text("purpose") != "save"], pages=pages)

    assert the_one(without_save()).holds is None
    assert the_one(without_save(moment(11.5, "leg", "restarted after a try", number=1))).holds is False


def test_a_form_that_shows_no_setting_is_not_a_product_without_any() -> None:
    """No value can be planned for it: that is the unit's failure, and not for want of a promise."""
    nothing = moment(1.0, "leg", "plans tries")
    for page, status in ((b"<!DOCTYPE html><p>Sorry.</p>", 200), (b"", 500)):
        before = answered(2.0, "form before the tries", "before", status=status)
        assert [s.holds for s in seen(make([nothing, before], pages={"before": page}))] == [False]
    assert [s.holds for s in seen(make([nothing]))] == [None]


def test_a_setting_that_the_form_leaves_out_is_said() -> None:
    made = record(WRONG, 400, form_with())
    pages = {
        "save": GOOD,
        "before": form_with().replace(b'name="unit_name"', b'name="other"').replace(b'id="unit_name"', b""),
    }
    found = seen(make(made.record.moments, pages=pages | {"answer": WRONG, "after": form_with()}))
    assert [s.text for s in found if s.holds is False][-1] == "missing: unit_name"
