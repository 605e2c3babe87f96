"""A form that is spread over several answers, made one: what is then found, shown and sent.

What a browser sends of a form (HTML Standard, 4.10.22) and a script of an object (ECMA-262, JSON.stringify) is held against
urllib.parse and json. That a page works so is the product file's word; the ways are those of setup pages (common practice).
"""

import json
from typing import ClassVar
from urllib.parse import parse_qsl

import pytest

from hil.core.form_promise import Form as FormPromise
from hil.page.fill import FormRequest, find_control
from hil.page.fill_settings import fill_settings, open_next
from hil.page.page import Control, NotFound, Page, shown_by
from hil.page.read import read_page
from hil.page.whole_form import beside_purpose, rule_of, rules_of_page, whole_form

HOME = "http://203.0.113.1/"
NAME = '<input name="unit_name" value="vent"><input type="hidden" name="token" value="t1">'
NETWORK = '<input name="network"><input name="network_key" type="password">'
SETTINGS: dict[str, dict[str, object]] = {
    "unit_name": {"control": "unit_name"},
    "network": {"control": "network", "role": "network"},
    "key": {"control": "network_key", "kind": "secret", "role": "network key", "prefilled": False, "blank": "keeps"},
}


def promise(settings: dict[str, dict[str, object]] | None = None, **form: object) -> FormPromise:
    """The words of a product file, laid over three settings."""
    merged = {name: {**said, **(settings or {}).get(name, {})} for name, said in SETTINGS.items()}
    return FormPromise.model_validate({"path": "/", "settings": {**(settings or {}), **merged}, **form})


def html(markup: str, path: str = "") -> Page:
    return read_page(f"<!DOCTYPE html>{markup}".encode(), "text/html", HOME + path)


def as_json(value: object, path: str) -> Page:
    return read_page(json.dumps(value).encode(), "application/json", HOME + path)


def shown(page: Page, said: FormPromise) -> dict[str, str]:
    """What each setting shows; nothing of one that is not there."""
    found = {name: find_control(page, rule_of(setting)) for name, setting in said.settings.items()}
    return {name: shown_by(control) for name, control in found.items() if isinstance(control, Control)}


def request_of(said: FormPromise, page: Page, **values: str) -> FormRequest:
    request = fill_settings(said, page, values)
    assert isinstance(request, FormRequest), request
    return request


def pairs(request: FormRequest) -> list[tuple[str, str]]:
    return parse_qsl(request.body.decode(), keep_blank_values=True)


class TestOnePage:
    def test_it_stays_as_it_is(self) -> None:
        page = html(f"<form method=post>{NAME}{NETWORK}</form>")
        assert whole_form(promise(), page, {}) is page

    def test_hidden_fields_travel_with_it(self) -> None:
        page = html(f"<form method=post action=/save>{NAME}{NETWORK}</form>")
        sent = pairs(request_of(promise(), page, network="Here"))
        assert sent == [("unit_name", "vent"), ("token", "t1"), ("network", "Here"), ("network_key", "")]


class TestSeveralForms:
    SPREAD = promise({"network": {"page": "/network"}, "key": {"page": "/network"}})

    def look(self, unit_name: str = "vent", token: str = "t2") -> Page:
        first = html(f"<form method=post action=/save>{NAME.replace('vent', unit_name)}</form>")
        other = f'<input name="unit_name" value="{unit_name}"><input type="hidden" name="token" value="{token}">'
        second = html(f"<form method=post action=/join>{other}{NETWORK}</form>", "network")
        return whole_form(self.SPREAD, first, {"/network": second})

    def test_settings_are_found_on_their_own_page(self) -> None:
        assert shown(self.look(), self.SPREAD) == {"unit_name": "vent", "network": "", "key": ""}

    def test_each_form_is_sent_and_opened_anew_in_its_turn(self) -> None:
        first = request_of(self.SPREAD, self.look(), unit_name="north", network="Here", key="secret 1")
        assert (first.url, pairs(first)) == (HOME + "save", [("unit_name", "north"), ("token", "t1")])
        (onward,) = first.then
        second = open_next(self.look("north", "t3"), onward)
        assert isinstance(second, FormRequest)
        assert second.url == HOME + "join"
        # the other page's setting stands in this form too, and travels as it stands
        expected = [("unit_name", "north"), ("token", "t3"), ("network", "Here"), ("network_key", "secret 1")]
        assert pairs(second) == expected

    def test_a_form_in_which_nothing_is_typed_is_sent_as_it_stands(self) -> None:
        first = request_of(self.SPREAD, self.look(), unit_name="north")
        assert [onward.typed for onward in first.then] == [{}]

    def test_two_forms_of_one_page_are_two_requests(self) -> None:
        page = html(f"<form method=post action=/one>{NAME}</form><form method=post action=/two>{NETWORK}</form>")
        first = request_of(promise(), page, unit_name="north", network="Here")
        assert (first.url, len(first.then)) == (HOME + "one", 1)

    def test_a_second_page_that_is_gone_leaves_its_settings_out(self) -> None:
        page = whole_form(self.SPREAD, html(f"<form method=post>{NAME}</form>"), {})
        assert shown(page, self.SPREAD) == {"unit_name": "vent"}
        reason = fill_settings(self.SPREAD, page, {"network": "Here"})
        assert isinstance(reason, NotFound)
        assert reason.reason == "the page has no control named 'network'"

    def test_the_next_form_may_be_gone(self) -> None:
        (onward,) = request_of(self.SPREAD, self.look(), network="Here").then
        assert isinstance(open_next(html("<p>Not found</p>"), onward), NotFound)


class TestScript:
    SAID = promise(
        {"unit_name": {"control": "unit.name"}, "at": {"control": "vent.at", "kind": "number"}},
        request={"path": "/api"},
        stored={"path": "/api"},
    )
    STATE: ClassVar[dict[str, object]] = {"unit": {"name": "vent", "id": "7"}, "vent": {"at": 24.0}, "network": ""}

    def look(self, state: object = None, markup: str = "<p>Wait</p>") -> Page:
        return whole_form(self.SAID, html(markup), {"/api": as_json(self.STATE if state is None else state, "api")})

    def test_what_is_stored_is_shown_and_secrets_show_nothing(self) -> None:
        assert shown(self.look(), self.SAID) == {"unit_name": "vent", "at": "24", "network": "", "key": ""}

    def test_the_object_goes_back_with_what_was_typed(self) -> None:
        request = request_of(self.SAID, self.look(), at="27.5", network="Here", key="secret 1")
        assert (request.method, request.url, request.content_type) == ("POST", HOME + "api", "application/json")
        expected = {
            "unit": {"name": "vent", "id": "7"},
            "vent": {"at": 27.5},
            "network": "Here",
            "network_key": "secret 1",
        }
        assert json.loads(request.body) == expected

    def test_to_another_address_the_settings_go_alone(self) -> None:
        request = {"path": "/config", "method": "PUT"}
        said = FormPromise.model_validate({**self.SAID.model_dump(), "request": request})
        page = whole_form(said, html(""), {"/api": as_json(self.STATE, "api")})
        sent = request_of(said, page, network="Here")
        assert (sent.method, sent.url) == ("PUT", HOME + "config")
        assert json.loads(sent.body) == {
            "unit": {"name": "vent"},
            "vent": {"at": 24},
            "network": "Here",
            "network_key": "",
        }

    def test_a_setting_that_is_not_told_is_missing(self) -> None:
        assert "at" not in shown(self.look({"unit": {"name": "vent"}, "network": ""}), self.SAID)

    def test_a_number_kept_as_text_is_none(self) -> None:
        text = self.look({**self.STATE, "vent": {"at": "24"}})
        assert shown(text, self.SAID)["at"] == '"24"'

    def test_the_page_s_limits_hold_for_what_is_read(self) -> None:
        page = self.look(markup='<label>At <input name="vent.at" type=number min=0 max=50></label>')
        control = find_control(page, rule_of(self.SAID.settings["at"]))
        assert isinstance(control, Control)
        assert (control.kind, control.value, control.minimum, control.maximum) == ("number", "24", 0.0, 50.0)

    def test_controls_of_the_page_go_too_where_nothing_is_read(self) -> None:
        said = promise(request={"path": "/api"})
        page = whole_form(said, html(f"{NAME}{NETWORK}<button>Save</button>"), {})
        sent = json.loads(request_of(said, page, network="Here").body)
        assert sent == {"unit_name": "vent", "token": "t1", "network": "Here", "network_key": ""}

    @pytest.mark.parametrize("answer", [as_json([], "api"), html("<h1>404</h1>", "api")])
    def test_an_answer_that_is_no_object_tells_nothing(self, answer: Page) -> None:
        page = whole_form(self.SAID, html(""), {"/api": answer})
        assert shown(page, self.SAID) == {"key": ""}


class TestStored:
    def test_a_status_page_tells_by_label_and_the_form_sends_what_it_holds(self) -> None:
        said = promise({"unit_name": {"label": "Called"}, "network": {"label": "Joins"}}, stored={"path": "/now"})
        form = html('<form method=post><input name="unit_name"><input name="network"><input name="network_key"></form>')
        now = html("<dl><dt>Called:<dd>vent<dt>joins<dd>Here</dl>", "now")
        page = whole_form(said, form, {"/now": now})
        assert shown(page, said) == {"unit_name": "vent", "network": "Here", "key": ""}
        assert pairs(request_of(said, page, network="There"))[0] == ("unit_name", "")

    def test_a_label_that_is_not_there_is_a_setting_that_is_missing(self) -> None:
        said = promise({"unit_name": {"label": "Called"}, "network": {"label": "Joins"}}, stored={"path": "/now"})
        page = whole_form(said, html(f"<form>{NAME}{NETWORK}</form>"), {"/now": html("<dl><dt>Joins<dd>x</dl>", "now")})
        assert "unit_name" not in shown(page, said)

    def test_a_form_without_values_shows_those_of_a_json_address(self) -> None:
        said = promise({"tick": {"control": "tick"}}, stored={"path": "/state"})
        markup = (
            '<form method=post><input name="unit_name"><input type=checkbox name=tick value=yes>' + NETWORK + "</form>"
        )
        state = {"unit_name": "vent", "network": "Here", "tick": True}
        page = whole_form(said, html(markup), {"/state": as_json(state, "state")})
        assert shown(page, said) == {"unit_name": "vent", "network": "Here", "key": "", "tick": "yes"}
        off = whole_form(said, html(markup), {"/state": as_json({**state, "tick": False}, "state")})
        assert shown(off, said)["tick"] == ""


class TestSpread:
    SAID = promise({"gateway": {"controls": ["g1", "g2", "g3", "g4"], "joined_by": "."}})

    def look(self, *texts: str) -> Page:
        boxes = "".join(f'<input name="g{number}" maxlength=3 value="{text}">' for number, text in enumerate(texts, 1))
        return whole_form(self.SAID, html(f"<form method=post>{NAME}{boxes}{NETWORK}</form>"), {})

    def test_one_value_is_shown_and_typed_in_parts(self) -> None:
        page = self.look("192", "0", "2", "1")
        assert shown(page, self.SAID)["gateway"] == "192.0.2.1"
        sent = pairs(request_of(self.SAID, page, gateway="198.51.100.7"))
        assert [pair for pair in sent if pair[0].startswith("g")] == [
            ("g1", "198"),
            ("g2", "51"),
            ("g3", "100"),
            ("g4", "7"),
        ]

    def test_untouched_and_blank(self) -> None:
        page = self.look("192", "0", "2", "1")
        assert ("g3", "2") in pairs(request_of(self.SAID, page))
        assert ("g3", "") in pairs(request_of(self.SAID, page, gateway=""))
        assert shown(self.look("", "", "", ""), self.SAID)["gateway"] == ""

    def test_a_value_that_does_not_fall_into_the_parts_is_not_typed(self) -> None:
        assert isinstance(fill_settings(self.SAID, self.look("", "", "", ""), {"gateway": "1.2.3"}), NotFound)

    def test_a_box_that_is_gone_leaves_the_setting_out(self) -> None:
        assert "gateway" not in shown(self.look("192", "0", "2"), self.SAID)


class TestPicked:
    SELECT = '<select name="network"><option selected>Old</select>'
    LATER = promise({"network": {"listed_at": "/scan", "listed_as": "ssid"}})
    TYPED = promise({"network": {"typed_in": "other"}})

    def later(self, found: object) -> Page:
        form = html(f'<form method=post>{NAME}{self.SELECT}<input name="network_key"></form>')
        return whole_form(self.LATER, form, {"/scan": as_json(found, "scan")})

    def test_what_came_later_can_be_picked(self) -> None:
        page = self.later([{"ssid": "Here"}, {"ssid": "Old"}])
        assert shown(page, self.LATER)["network"] == "Old"
        assert ("network", "Here") in pairs(request_of(self.LATER, page, network="Here"))
        assert ("network", "Old") in pairs(request_of(self.LATER, page))

    def test_a_list_that_never_came_is_said(self) -> None:
        reason = fill_settings(self.LATER, self.later([]), {"network": "Here"})
        assert isinstance(reason, NotFound)
        assert reason.reason == "select 'network' does not offer 'Here'; no list of networks came from /scan"

    def typed(self, other: str = "") -> Page:
        markup = f'<form method=post>{NAME}{self.SELECT}<input name="other" value="{other}"><input name="network_key"></form>'
        return whole_form(self.TYPED, html(markup), {})

    def test_a_name_that_is_not_offered_is_typed(self) -> None:
        sent = pairs(request_of(self.TYPED, self.typed(), network="Hidden"))
        assert ("other", "Hidden") in sent
        assert ("network", "Old") in sent

    def test_one_that_is_offered_is_picked_and_nothing_left_typed(self) -> None:
        page = self.typed("Hidden")
        assert shown(page, self.TYPED)["network"] == "Hidden"
        sent = pairs(request_of(self.TYPED, page, network="Old"))
        assert ("other", "") in sent
        assert ("network", "Old") in sent


def test_what_the_form_s_own_page_must_have() -> None:
    spread = promise({"gateway": {"controls": ["g1", "g2"], "joined_by": "/"}, "network": {"page": "/network"}})
    assert [str(rule) for rule in rules_of_page(spread)] == [
        "control named 'unit_name'", "control named 'network_key'", "control named 'g1'", "control named 'g2'",
    ]  # fmt: skip
    assert rules_of_page(TestScript.SAID) == []


def test_the_purpose_of_what_is_read_beside() -> None:
    assert beside_purpose("form as shipped", "/api") == "form as shipped at /api"
