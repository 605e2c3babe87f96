"""The pages' view: requests by purpose, their answers, and what stands in them. Pages are written out here by hand."""

import hashlib
import json
from math import inf

import pytest
from support.records import HOTSPOT, SECRETS, TYPED, answered, make, moment, product_with

from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.pages import PagesView
from hil.evidence.seen import Seen

ROWS = {
    "unit_name": '<label>Name <input name="unit_name" value="{}"></label>',
    "opens_at": '<label for="o">Vent opens at (°C)</label><input id="o" name="a1" value="{}">',
    "closes_at": '<label for="c">Vent closes at (°C)</label><input id="c" name="a2" value="{}">',
    "reports_to": '<input name="reports_to" value="{}">',
    "report_every_s": '<input name="report_every_s" value="{}">',
    "report_key": '<input type="password" name="report_key" value="{}">',
    "network": '<input name="network" value="{}">',
    "network_key": '<input type="password" name="network_key" value="{}">',
    "network_open": '<input type="checkbox" name="network_open" value="yes{}">',
    "fixed_address": '<input name="fixed_address" value="{}">',
    "netmask": '<input name="netmask" value="{}">',
    "gateway": '<input name="gateway" value="{}">',
    "update_key": '<input type="password" name="update_key" value="{}">',
}
SHOWN = {name: "" if name in SECRETS else value for name, value in TYPED.items()}
STATUS = b"<dl><dt>Version</dt><dd> 1.4.0 </dd><dt>Address</dt><dd>198.51.100.2</dd><dt>Signal</dt><dd></dd></dl>"


def form(values: dict[str, str], but: tuple[str, ...] = ()) -> bytes:
    rows = "".join(row.format(values.get(name, "")) for name, row in ROWS.items() if name not in but)
    return f'<!doctype html><form method="post" action="/">{rows}<button>Save</button></form>'.encode()


def view(*moments: Moment, **pages: bytes) -> PagesView:
    return PagesView(make(moments, pages={f"{name}.body": body for name, body in pages.items()}).window(100.0, 130.0))


def one(body: bytes, **more: object) -> PagesView:
    return view(answered(110.0, "form", "form.body", **more), form=body)  # type: ignore[arg-type]


class TestServed:
    """A page asked for, and answered as one."""

    def test_a_page_is_served(self) -> None:
        seen = one(form(SHOWN)).served("form")
        assert (seen.holds, seen.at_s) == (True, 110.0)

    @pytest.mark.parametrize("status", [400, 404, 500, 100])
    def test_an_error_status_is_none(self, status: int) -> None:
        seen = one(form(SHOWN), status=status).served("form")
        assert seen.holds is False
        assert str(status) in seen.text

    @pytest.mark.parametrize("kind", ["refused", "silent", "cut short"])
    def test_no_answer_is_the_unit_s_failure(self, kind: str) -> None:
        seen = view(answered(110.0, "form", "", kind=kind, first_octet_s=None)).served("form")
        assert seen.holds is False
        assert kind in seen.text

    def test_an_answer_that_is_no_page_is_none(self) -> None:
        assert one(b'{"a": 1}', content_type="application/json").served("form").holds is False

    def test_a_page_never_asked_for_because_the_unit_let_nobody_in_is_its_failure(self) -> None:
        seen = view(moment(125.0, "leg", "gave up", why=f"the probe could not join '{HOTSPOT}'")).served("form")
        assert (seen.holds, seen.at_s) == (False, 125.0)
        assert HOTSPOT in seen.text

    def test_a_page_of_which_nothing_is_recorded_tells_nothing(self) -> None:
        seen = view(answered(110.0, "other", "form.body"), form=form(SHOWN)).served("form")
        assert seen.holds is None
        assert "pages" in seen.text

    def test_a_body_that_is_not_what_was_recorded_tells_nothing(self) -> None:
        asked = answered(110.0, "form", "form.body")
        kept = Moment(
            asked.time_s,
            asked.doubt_s,
            asked.source,
            asked.kind,
            {**asked.data, "sha256": hashlib.sha256(form(SHOWN)).hexdigest()},
        )
        assert view(kept, form=form(SHOWN)).served("form").holds is True
        damaged = view(kept, form=form(SHOWN)[:-9])
        assert damaged.served("form").holds is None
        assert damaged.shows("form", {"opens_at": "27.5"}).holds is None

    def test_the_last_request_for_a_purpose_counts_and_only_those_of_the_leg(self) -> None:
        first, last = answered(110.0, "form", "a.body", status=500), answered(115.0, "form", "b.body")
        early = answered(90.0, "status", "b.body")
        seen = view(early, first, last, b=form(SHOWN))
        assert seen.served("form").holds is True
        assert seen.served("status").holds is None


class TestForm:
    """What the form shows."""

    def test_every_setting_has_its_control(self) -> None:
        assert one(form(SHOWN)).has_all_settings("form").holds is True

    @pytest.mark.parametrize("name", ROWS)
    def test_one_that_is_missing_is_named(self, name: str) -> None:
        seen = one(form(SHOWN, but=(name,))).has_all_settings("form")
        assert seen.holds is False
        assert seen.text == f"missing: {name}"

    def test_it_shows_values_by_name_and_by_label(self) -> None:
        assert one(form(SHOWN)).shows("form", SHOWN).holds is True

    @pytest.mark.parametrize(("name", "value"), [("opens_at", "27"), ("unit_name", ""), ("report_key", "********")])
    def test_a_value_that_is_another_is_named_with_both(self, name: str, value: str) -> None:
        seen = one(form({**SHOWN, name: value})).shows("form", SHOWN)
        assert seen.holds is False
        assert all(text in seen.text for text in (name, repr(value), repr(SHOWN[name])))

    def test_a_page_not_served_shows_nothing(self) -> None:
        assert one(form(SHOWN), status=500).shows("form", SHOWN).holds is False
        assert view().shows("form", SHOWN).holds is None
        assert view().has_all_settings("form").holds is None


class TestStatusPage:
    """Values beside their labels."""

    def test_a_value_is_stated_blanks_aside(self) -> None:
        assert one(STATUS).states("form", "Version", "1.4.0").holds is True
        seen = one(STATUS).states("form", "Version", "1.4.1")
        assert seen.holds is False
        assert "1.4.0" in seen.text
        assert "1.4.1" in seen.text

    def test_a_label_that_is_not_there(self) -> None:
        assert one(STATUS).states("form", "Serial number", "x").holds is False

    def test_nothing_to_hold_it_against_tells_nothing(self) -> None:
        assert one(STATUS).states("form", "Address", None).holds is None

    def test_what_is_not_promised_is_no_pass(self) -> None:
        assert one(STATUS).states("form", None, "x") == Seen.not_promised()

    def test_some_value_is_not_an_empty_one(self) -> None:
        assert one(STATUS).states_something("form", "Address").holds is True
        assert one(STATUS).states_something("form", "Signal").holds is False


class TestSecrets:
    """Secrets in answers, in any encoding (the encodings themselves are held against RFC 4648 and others elsewhere)."""

    @pytest.mark.parametrize("name", SECRETS)
    def test_a_secret_in_any_answer_is_found_and_named(self, name: str) -> None:
        seen = one(form({**SHOWN, name: SECRETS[name]})).without_secrets(SECRETS)
        assert (seen.holds, seen.at_s) == (False, 110.0)
        assert name in seen.text
        assert SECRETS[name] not in seen.text

    def test_an_error_page_counts_too(self) -> None:
        body = f"bad key {SECRETS['network_key']}".encode()
        assert one(body, status=500, content_type="text/plain").without_secrets(SECRETS).holds is False

    def test_none_in_any_answer(self) -> None:
        assert one(form(SHOWN)).without_secrets(SECRETS).holds is True

    def test_no_answer_at_all_proves_nothing(self) -> None:
        assert view().without_secrets(SECRETS).holds is None
        unanswered = view(answered(110.0, "form", "", kind="silent", first_octet_s=None))
        assert unanswered.without_secrets(SECRETS).holds is not True

    def test_a_request_whose_outcome_is_lost_proves_nothing(self) -> None:
        asked = moment(115.0, "leg", "asks for a page", purpose="settings")
        assert (
            view(answered(110.0, "form", "form.body"), asked, form=form(SHOWN)).without_secrets(SECRETS).holds is None
        )


class TestTimes:
    """First octet and end of an answer."""

    REACHED = moment(109.9, "probe", "reached", doubt_s=0.03, took_s=0.04)

    def test_the_first_octet_within_what_the_way_may_have_taken(self) -> None:
        """Dialled at 109.9, reached 0.04 s later, first octet at 110.3: the unit took 0.36 s, less some for the way."""
        shown = answered(110.0, "form", "form.body", first_octet_s=0.3)
        reading = view(self.REACHED, shown, form=b"x").first_octet("form")
        assert isinstance(reading, Reading)
        assert 0.3 <= reading.low <= 0.36 <= reading.high <= 0.4

    def test_without_the_way_only_a_bound_is_known(self) -> None:
        reading = view(answered(110.0, "form", "form.body", first_octet_s=0.3), form=b"x").first_octet("form")
        assert isinstance(reading, Reading)
        assert (reading.low, reading.high) == (0.0, 0.3)
        assert reading.because

    def test_the_way_of_an_earlier_request_is_not_this_one_s(self) -> None:
        """Nothing was recorded of how this one was dialled: the last that was lies three seconds before it."""
        reading = view(self.REACHED, answered(113.0, "form", "form.body", first_octet_s=0.3), form=b"x").first_octet(
            "form"
        )
        assert isinstance(reading, Reading)
        assert (reading.low, reading.high) == (0.0, 0.3)
        assert reading.because

    def test_no_answer_took_longer_than_was_waited(self) -> None:
        silent = answered(110.0, "form", "", kind="silent", first_octet_s=None, total_s=12.0)
        reading = view(silent).first_octet("form")
        assert isinstance(reading, Reading)
        assert (reading.low, reading.high, reading.because) == (12.0, inf, "")

    def test_never_asked_is_no_reading(self) -> None:
        assert view().first_octet("form") == Seen.untold("pages: no request for the form was recorded")
        assert view(moment(120.0, "leg", "gave up", why="kept out")).first_octet("form").holds is False  # type: ignore[union-attr]

    def test_when_it_was_answered(self) -> None:
        seen = view(self.REACHED, answered(110.0, "save", "form.body", total_s=0.5), form=b"x").answered_at("save")
        assert (seen.earliest_s, seen.latest_s) == (pytest.approx(110.46), pytest.approx(110.5))
        assert not view().answered_at("save").seen


def test_a_status_by_which_it_was_refused() -> None:
    assert one(b"", status=401).refused_with("form", 401).holds is True
    assert one(b"", status=200).refused_with("form", 401).holds is False
    assert view(answered(110.0, "form", "", kind="refused", status=0)).refused_with("form", 401).holds is False
    assert view().refused_with("form", 401).holds is None


def test_a_setting_the_form_hides_is_not_found_by_another_label() -> None:
    product = product_with({"form": {"settings": {"opens_at": {"label": "Vent opens at", "control": None}}}})
    window = make([answered(110.0, "form", "f.body")], pages={"f.body": form(SHOWN)}, product=product).window(
        100.0, 130.0
    )
    assert PagesView(window).has_all_settings("form").text == "missing: opens_at"


class TestTurnedAway:
    """Hostile requests: an error status or the end of the connection; silence is the unit's only before a live probe."""

    ANSWERING = tuple(moment(float(t), "probe", "answering") for t in range(98, 132))

    def came_to(self, kind: str, status: int | None = None, *also: str, probe: bool = True) -> Seen:
        asked = answered(110.0, "half a body", "", kind=kind, status=status or 0, first_octet_s=None, total_s=6.0)
        return view(asked, *(self.ANSWERING if probe else ())).turned_away("half a body", also=also)

    # RFC 9110, 15: what the first digit of a status means.
    @pytest.mark.parametrize(
        ("status", "also", "holds"),
        [
            (400, (), True),
            (413, (), True),
            (503, (), True),
            (200, (), False),
            (303, (), False),
            (303, ("redirect",), True),
            (200, ("redirect",), False),
            (200, ("success",), True),
        ],
    )
    def test_by_its_status(self, status: int, also: tuple[str, ...], holds: bool) -> None:
        seen = self.came_to("answered", status, *also)
        assert (seen.holds, seen.at_s) == (holds, 110.0)
        assert str(status) in seen.text

    @pytest.mark.parametrize("kind", ["closed", "cut off"])
    def test_an_end_without_an_answer_turns_away(self, kind: str) -> None:
        assert self.came_to(kind).holds is True

    @pytest.mark.parametrize(("kind", "also"), [("silent", "silence"), ("refused", "refusal")])
    def test_no_answer_is_the_unit_s_before_a_live_probe_alone(self, kind: str, also: str) -> None:
        assert self.came_to(kind).holds is False
        assert self.came_to(kind, None, also).holds is True
        gone = self.came_to(kind, probe=False)
        assert gone.holds is None
        assert "probe asleep" in gone.text

    def test_what_the_bench_hung_up_on_is_no_answer(self) -> None:
        assert self.came_to("hung up").holds is False
        assert view(answered(110.0, "half", "", kind="hung up")).let_in("half").holds is True

    @pytest.mark.parametrize("kind", ["refused", "silent"])
    def test_what_was_never_let_in_sent_nothing(self, kind: str) -> None:
        alive = [moment(time_s, "probe", "answering") for time_s in (109.0, 110.5, 112.0)]
        assert view(answered(110.0, "half", "", kind=kind), *alive).let_in("half").holds is False
        assert view(answered(110.0, "half", "", kind=kind)).let_in("half").holds is None

    def test_one_never_sent_is_told_with_what_the_leg_stopped_at(self) -> None:
        assert view().turned_away("half a body").holds is None
        stopped = view(moment(125.0, "leg", "gave up", why="not to be had at 'body of 64 kB'")).turned_away(
            "half a body"
        )
        assert stopped.holds is False
        assert "body of 64 kB" in stopped.text


# RFC 9110, 9.3.2: no content in the answer to HEAD.
@pytest.mark.parametrize(("after", "holds"), [(b"", True), (b"Method not allowed.", False)])
def test_head_is_answered_by_a_head_alone(after: bytes, holds: bool) -> None:
    said = b"HTTP/1.1 405 Method Not Allowed\r\nContent-Length: 19\r\n\r\n" + after
    assert one(said).head_alone("form").holds is holds
    assert view().head_alone("form").holds is None


class TestSameValues:
    """The form before and after."""

    def compared(self, before: dict[str, str], after: dict[str, str], **more: object) -> Seen:
        pages = {"a": form(before), "b": form(after)}
        asked = answered(110.0, "before", "a.body"), answered(112.0, "after", "b.body", **more)  # type: ignore[arg-type]
        return view(*asked, **pages).same_values("before", "after")

    def test_the_same(self) -> None:
        assert self.compared(SHOWN, SHOWN).holds is True
        odd = SHOWN | {"unit_name": "of an earlier leg"}
        assert self.compared(odd, odd).holds is True

    def test_a_changed_one_is_named(self) -> None:
        seen = self.compared(SHOWN, SHOWN | {"closes_at": "3"})
        assert seen.holds is False
        assert "closes_at shows '3'" in seen.text

    def test_one_page_that_was_not_served_is_the_unit_s_failure(self) -> None:
        assert self.compared(SHOWN, SHOWN, status=500).holds is False

    def test_one_page_alone_tells_nothing(self) -> None:
        assert one(form(SHOWN)).same_values("form", "after").holds is None
        assert one(form(SHOWN)).same_values("before", "form").holds is None


def test_no_secret_hides_behind_another() -> None:
    """Not even one whose place is accepted: each is named, with where it stands first."""
    both = form(SHOWN | {"report_key": SECRETS["report_key"]})
    pages = {"a": both, "b": form(SHOWN | {"network_key": SECRETS["network_key"]})}
    seen = view(answered(110.0, "one", "a.body"), answered(112.0, "two", "b.body"), **pages).leak(SECRETS)
    assert seen is not None
    assert seen.at_s == 110.0
    assert [part.split(" ")[0] for part in seen.text.split("; ")] == ["report_key", "network_key"]


@pytest.mark.parametrize("data", [{"location": "/?key={}"}, {"redirects": ["http://u/save", "http://u/?key={}"]}])
def test_a_secret_in_an_address_that_the_unit_sends_us_to_is_found(data: dict[str, str | list[str]]) -> None:
    """RFC 9110, 17.9: addresses are kept and shown in many places."""
    key = SECRETS["network_key"]
    filled = {k: v.format(key) if isinstance(v, str) else [part.format(key) for part in v] for k, v in data.items()}
    answer = moment(110.0, "pages", "answered", purpose="save", url="http://u/done", status=303, **filled)  # type: ignore[arg-type]
    assert view(answer).without_secrets(SECRETS).holds is False


def test_what_we_asked_for_ourselves_is_no_leak() -> None:
    asked = [f"http://u/save?key={SECRETS['network_key']}"]
    answer = moment(110.0, "pages", "answered", purpose="save", url="http://u/done", status=200, redirects=list(asked))
    assert view(answer).without_secrets(SECRETS).holds is True


class TestSpreadOverSeveral:
    """A form whose values are told at another address: nothing is shown unless that was answered, too."""

    STORED = product_with({"form": {"stored": {"path": "/state"}}})
    STATE = json.dumps(
        {
            **{name: value for name, value in SHOWN.items() if name not in SECRETS},
            "a1": 27.5,
            "a2": 21,
            "report_every_s": 120,
            "fixed_address": "",
            "netmask": "",
            "gateway": "",
        }
    ).encode()

    def view(self, *moments: Moment, state: bytes = STATE) -> PagesView:
        pages = {"form.body": form({}), "state.body": state}
        return PagesView(make(moments, pages=pages, product=self.STORED).window(100.0, 130.0))

    FORM = answered(110.0, "form", "form.body")
    TOLD = answered(
        111.0, "form at /state", "state.body", content_type="application/json", url="http://203.0.113.1/state"
    )

    def test_the_form_shows_what_is_told_there(self) -> None:
        assert (
            self.view(self.FORM, self.TOLD).shows("form", {"unit_name": TYPED["unit_name"], "opens_at": "27.5"}).holds
        )
        assert self.view(self.FORM, self.TOLD).has_all_settings("form").holds is True

    def test_another_value_there_is_another_value(self) -> None:
        state = self.STATE.replace(b"27.5", b"24.0")
        seen = self.view(self.FORM, self.TOLD, state=state).shows("form", {"opens_at": "27.5"})
        assert (seen.holds, seen.text) == (False, "opens_at shows '24', not '27.5'")

    def test_a_number_told_as_text_is_none(self) -> None:
        state = self.STATE.replace(b"27.5", b'"27.5"')
        assert self.view(self.FORM, self.TOLD, state=state).shows("form", {"opens_at": "27.5"}).holds is False

    def test_without_that_answer_nothing_is_shown(self) -> None:
        assert self.view(self.FORM).shows("form", {"unit_name": "vent"}).holds is None
        gone = answered(111.0, "form at /state", "state.body", status=404, url="http://203.0.113.1/state")
        seen = self.view(self.FORM, gone).shows("form", {"unit_name": "vent"})
        assert (seen.holds, "/state" in seen.text, "404" in seen.text) == (False, True, True)

    def test_json_is_a_page_only_where_a_product_file_tells_of_it(self) -> None:
        assert self.view(self.FORM, self.TOLD).served("form at /state").holds is True
        script = product_with(
            {"form": {"request": {"path": "/api"}, "settings": {
                "opens_at": {"control": "a1", "label": None}, "closes_at": {"control": "a2", "label": None},
            }}}
        )  # fmt: skip
        saved = moment(112.0, "pages", "answered", purpose="save", method="POST", status=204, url="", file="")
        assert PagesView(make([saved], product=script).window(100.0, 130.0)).served("save").holds is True
        assert view(saved).served("save").holds is False

    def test_of_several_requests_for_a_purpose_the_last_counts(self) -> None:
        first = answered(110.0, "save", "form.body")
        refused = answered(112.0, "save", "state.body", status=403)
        assert self.view(first, refused).served("save").holds is False
