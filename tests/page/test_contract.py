"""Which values a form must refuse, and what counts as kept whole.

Sources: IEEE 802.11-2020, 9.4.2.2 (a name has at most 32 octets) and J.4.1 (a passphrase has 8 to 63 characters); HTML
Standard, 4.10.5.1.12 (min and max of a number). The product file's own promises are the rest.
"""

from ipaddress import IPv4Address, IPv4Interface

import pytest
from support.records import TYPED, product_with

from hil.core.form_promise import Setting
from hil.core.product import load_product
from hil.page.contract import GOOD_ADDRESS, Try, grown, kept_whole, tries, typed_again
from hil.page.read import read_page
from hil.virtual import DEMO_PRODUCT

FORM = """<!DOCTYPE html><form method="post" action="/save">
<input name="unit_name" maxlength="32" value="vent-4k2">
<label>Vent opens at (°C) <input name="opens_at" type="number" min="0" max="50" value="27.5"></label>
<label>Vent closes at (°C) <input name="closes_at" value="21"></label>
<input name="reports_to" type="url" value=""><input name="report_every_s" type="number" min="10" max="3600" value="120">
<input name="report_key" type="password"><input name="network" value="bench-q7">
<input name="network_key" type="password"><input name="update_key" type="password"></form>"""
NAMES = ("fixed_address", "netmask", "gateway")
ADDRESSES = "".join(f"<input name={name}>" for name in NAMES)
PRODUCT = load_product(DEMO_PRODUCT)


def planned(form: str = FORM, change: dict[str, object] | None = None) -> dict[str, list[Try]]:
    product = product_with({"form": {"settings": change}}) if change else PRODUCT
    found: dict[str, list[Try]] = {}
    for one in tries(read_page(form.encode(), "text/html; charset=utf-8", "http://203.0.113.1/"), product, TYPED):
        found.setdefault(one.setting, []).append(one)
    return found


def octets(tried: list[Try]) -> list[int]:
    return [len(one.value.encode()) for one in tried if one.kind in ("too long", "no such network")]


def test_a_promised_length_is_passed_by_one_and_by_far() -> None:
    found = planned()
    assert octets(found["unit_name"]) == [33, 300]
    assert octets(found["reports_to"]) == [129, 300]
    assert octets(found["update_key"]) == [64, 300]
    assert not any(one.may_keep for one in found["unit_name"])


def test_without_a_promise_longer_texts_may_be_kept_whole() -> None:
    found = planned(change={"unit_name": {"longest": None}})["unit_name"]
    assert octets(found) == [65, 129, 300]
    assert [one.may_keep for one in found if one.kind == "too long"] == [True] * 3


def test_no_network_has_33_octets_nor_a_key_of_7_or_65_characters() -> None:
    found = planned()
    assert octets(found["network"]) == [33]
    assert octets(found["network_key"]) == [7, 64, 65]
    assert (
        not found["network_key"][1].value.isalnum() or "z" in found["network_key"][1].value
    )  # 64 that are no hex digits
    assert not any(one.may_keep for one in found["network_key"])


def test_numbers_beyond_what_the_page_states() -> None:
    found = planned()
    assert [one.value for one in found["opens_at"]] == ["12abc", "1e3", "-1", "51", ""]
    assert [one.value for one in found["closes_at"]] == ["12abc", "1e3", ""]  # this page states no range of it
    kept = {
        name: [one.may_keep for one in found[name] if one.value == "1e3"] for name in ("opens_at", "report_every_s")
    }
    assert kept == {"opens_at": [False], "report_every_s": [True]}  # 1e3 is 1000, a number like any other


def test_of_addresses_one_of_three_is_wrong_and_the_others_are_good() -> None:
    """By Python's `ipaddress`, the reference here: each trio is no network with its unit and gateway, but for that one value."""
    found = planned(FORM.replace("</form>", f"{ADDRESSES}</form>"))
    tried = [one for name in NAMES for one in found[name]]
    assert {one.kind for one in tried} == {"no such address"}
    assert [one.setting for one in tried] == ["fixed_address", "fixed_address", "netmask", "gateway"]
    for one in tried:
        trio = {**one.beside, one.setting: one.value}
        assert set(trio) == set(NAMES)
        assert not goes_together(*(trio[name] for name in NAMES)), trio
    assert goes_together(*GOOD_ADDRESS)
    assert [one.may_keep for one in tried] == [False, False, False, True]


def goes_together(address: str, netmask: str, gateway: str) -> bool:
    try:
        network = IPv4Interface(f"{IPv4Address(address)}/{netmask}").network
        return IPv4Address(gateway) in network
    except ValueError:
        return False


def test_a_blank_is_tried_only_where_it_is_refused() -> None:
    blank = {name for name, tried in planned().items() if any(one.value == "" for one in tried)}
    assert blank == {"unit_name", "opens_at", "closes_at", "report_every_s", "network"}


def test_of_choices_there_is_no_wrong_value() -> None:
    form = FORM.replace('<input name="network" value="bench-q7">', "<select name=network><option>bench-q7</select>")
    assert "network" not in planned(form)


@pytest.mark.parametrize("length", [7, 33, 300])
def test_a_long_secret_repeats_the_canary(length: int) -> None:
    secret = TYPED["network_key"]
    text = grown(PRODUCT.form.settings["network_key"], secret, length)
    assert text == (secret * 30)[:length]


def test_a_number_is_kept_in_any_spelling_and_a_text_in_its_own() -> None:
    number, text = PRODUCT.form.settings["opens_at"], PRODUCT.form.settings["unit_name"]
    assert kept_whole(number, "1e3", "1000")
    assert not kept_whole(number, "12abc", "12")
    assert not kept_whole(number, "12", "")
    assert kept_whole(text, " a ", " a ")
    assert not kept_whole(text, " a ", "a")
    trimming = text.model_copy(update={"trims": True})
    assert kept_whole(trimming, " a ", "a")
    assert not kept_whole(trimming, "a b", "ab")


def test_secrets_that_a_blank_would_wipe_are_typed_again() -> None:
    assert typed_again(PRODUCT, TYPED) == {}
    product = product_with({"form": {"settings": {"report_key": {"blank": "clears"}}}})
    assert typed_again(product, TYPED) == {"report_key": TYPED["report_key"]}


@pytest.mark.parametrize(
    ("change", "text", "refused"),
    [
        ({}, "<b>", False),
        ({"refuses": "[<>]"}, "<b>", True),
        ({"refuses": "[<>]"}, "b", False),
        ({"longest": 4}, "12345", True),
        ({"longest": 4}, "ä12", False),
        ({"longest": 4}, "ää1", True),  # octets count, not characters
    ],
)
def test_a_product_file_says_what_is_refused(change: dict[str, object], text: str, refused: bool) -> None:
    setting = Setting.model_validate({"control": "a", **change})
    assert setting.may_refuse(text) is refused
