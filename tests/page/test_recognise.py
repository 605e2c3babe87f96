"""Settings recognised in forms that are not ours: examples of the HTML Standard and of the W3C's forms tutorial (written
from memory), and setup pages in other languages and with other ways of labelling, made up here.
"""

import pytest

from hil.core.form_promise import Setting
from hil.page.page import Control
from hil.page.read import read_page
from hil.page.recognise import Recognised, RecognisedForm, guess_roles, recognise_form
from hil.page.words import key_in_file


def form_of(markup: str) -> RecognisedForm:
    page = read_page(f"<!DOCTYPE html><body>{markup}".encode(), "text/html; charset=utf-8", "http://203.0.113.1/")
    form = recognise_form(page)
    assert form is not None
    return form


def settings_of(markup: str) -> dict[str, Setting]:
    return {found.name: found.setting for found in form_of(markup).settings}


def roles_of(markup: str) -> dict[str | None, str | None]:
    return {s.control: s.role for s in settings_of(markup).values() if s.role}


# HTML Standard, 4.10.1 "Introduction" to forms: the pizza order, whole (from memory).
PIZZA = """<form method="post" enctype="application/x-www-form-urlencoded" action="https://pizza.example.com/order.cgi">
 <p><label>Customer name: <input name="custname" required autocomplete="shipping name"></label></p>
 <p><label>Telephone: <input type=tel name="custtel" autocomplete="shipping tel"></label></p>
 <p><label>Email address: <input type=email name="custemail" autocomplete="shipping email"></label></p>
 <fieldset>
  <legend> Pizza Size </legend>
  <p><label> <input type=radio name=size required value="small"> Small </label></p>
  <p><label> <input type=radio name=size required value="medium"> Medium </label></p>
  <p><label> <input type=radio name=size required value="large"> Large </label></p>
 </fieldset>
 <fieldset>
  <legend> Pizza Toppings </legend>
  <p><label> <input type=checkbox name="topping" value="bacon"> Bacon </label></p>
  <p><label> <input type=checkbox name="topping" value="cheese"> Extra Cheese </label></p>
  <p><label> <input type=checkbox name="topping" value="onion"> Onion </label></p>
 </fieldset>
 <p><label>Preferred delivery time: <input type=time min="11:00" max="21:00" step="900" name="delivery" required></label></p>
 <p><label>Delivery instructions: <textarea name="comments" maxlength=1000></textarea></label></p>
 <p><button>Submit order</button></p>
</form>"""


def test_the_standard_s_pizza_order() -> None:
    found = settings_of(PIZZA)
    assert list(found) == ["custname", "custtel", "custemail", "size", "topping", "delivery", "comments"]
    assert {setting.kind for setting in found.values()} == {"text"}
    assert {setting.role for setting in found.values()} == {None}
    assert (found["custname"].blank, found["custname"].canary, found["custname"].default) == ("refused", True, "")
    assert (found["custtel"].blank, found["custtel"].canary) == ("clears", False)
    assert found["custemail"].trial == "hil@example.org"
    # One setting for a group; its value is its tick, so nothing is typed or compared.
    assert (found["size"].control, found["size"].prefilled, found["size"].trial) == ("size", False, None)
    assert (found["topping"].control, found["topping"].default) == ("topping", None)
    assert found["comments"].canary


def test_what_it_cannot_tell_is_asked() -> None:
    asked = {found.name: found.questions for found in form_of(PIZZA).settings if found.questions}
    assert list(asked) == ["custtel", "delivery"]  # a telephone number and a time of day: nothing safe to type is known
    assert all("trial" in questions[0] for questions in asked.values())


# W3C Web Accessibility Tutorials, "Forms: labeling controls" (from memory): for, aria-labelledby, aria-label, wrapped.
LABELLED = """<form action="/save" method="post">
 <label for="firstname">First name:</label> <input type="text" name="firstname" id="firstname"><br>
 <input type="text" name="search" aria-labelledby="searchbutton"> <button id="searchbutton" type="button">Search</button>
 <input type="text" name="q" aria-label="Search term">
 <label>Last name: <input type="text" name="lastname"></label>
 <input type="checkbox" name="subscribe" id="subscribe"> <label for="subscribe">Subscribe to newsletter</label>
</form>"""


def test_the_tutorial_s_ways_of_labelling() -> None:
    found = {f.name: f.seen for f in form_of(LABELLED).settings}
    assert list(found) == ["firstname", "search", "q", "lastname", "subscribe"]
    for name, label in {
        "firstname": "First name:",
        "search": "Search",
        "q": "Search term",
        "lastname": "Last name:",
        "subscribe": "Subscribe to newsletter",
    }.items():
        assert f"labelled {label!r}" in found[name]


@pytest.mark.parametrize(
    ("name_label", "key_label", "update_label"),
    [
        ("WLAN-Name", "Kennwort", "Schlüssel für Aktualisierungen"),  # German
        ("Nom du réseau", "Mot de passe", "Clé de mise à jour"),  # French
        ("Red inalámbrica", "Contraseña", "Clave de actualización"),  # Spanish
        ("Nome della rete", "Password", "Password di aggiornamento"),  # Italian
        ("Naam van het netwerk", "Wachtwoord", "Wachtwoord voor updates"),  # Dutch
        ("Имя сети", "Пароль", "Пароль для обновлений"),  # Russian
        ("网络名称", "密码", "更新密码"),  # Chinese
        ("ネットワーク名", "パスワード", "ファームウェア更新のパスワード"),  # Japanese
        ("네트워크 이름", "비밀번호", "업데이트 비밀번호"),  # Korean
        ("Wi-Fi SSID", "Wi-Fi passphrase", "OTA password"),
    ],
)
def test_roles_by_labels_in_many_languages(name_label: str, key_label: str, update_label: str) -> None:
    markup = (
        f'<form method="post"><label>Name <input name="a" value="x"></label><label>{name_label} <input name="b"></label>'
        f'<label>{key_label} <input type="password" name="c"></label>'
        f'<label>{update_label} <input type="password" name="d"></label></form>'
    )
    assert roles_of(markup) == {"b": "network", "c": "network key", "d": "update key"}


@pytest.mark.parametrize(
    ("labels", "tick"),
    [
        (("Fixed address", "Netmask", "Gateway"), "The network has no key"),
        (("Static IP", "Subnet mask", "Default gateway"), "Open network"),
        (("IP address", "Subnet", "Router"), "No password"),
        (("Feste IP-Adresse", "Netzmaske", "Gateway"), "Netz ohne Kennwort"),
    ],
)
def test_a_fixed_address_and_a_network_without_key(labels: tuple[str, str, str], tick: str) -> None:
    texts = "".join(f'<label>{label} <input name="n{at}"></label>' for at, label in enumerate(labels))
    markup = f'<form>{texts}<label>{tick} <input type="checkbox" name="t" value="1"></label></form>'
    expected = {"n0": "fixed address", "n1": "netmask", "n2": "gateway", "t": "network security"}
    assert roles_of(markup) == expected
    assert settings_of(markup)["t"].without_key == "1"
    assert not any(setting.canary or setting.trial for setting in settings_of(markup).values())


def test_two_of_three_are_no_fixed_address() -> None:
    assert roles_of('<form><label>Netmask <input name="a"></label><label>Gateway <input name="b"></label></form>') == {}


def test_roles_by_placeholders_where_there_are_no_labels() -> None:
    markup = (
        '<form><input name="p1" placeholder="SSID of your router"><input name="p2" type="password" placeholder="Key">'
        '<input name="p3" placeholder="Broker"><input name="p4" type="password" placeholder="Broker password"></form>'
    )
    assert roles_of(markup) == {"p1": "network", "p2": "network key"}


def test_roles_by_names_alone() -> None:
    markup = '<form><input name="staSsid"><input name="staPass" type="password"><input name="apSsid"><input name="apPass"></form>'
    assert roles_of(markup) == {"staSsid": "network", "staPass": "network key"}


def test_the_unit_s_own_network_is_not_the_one_to_join() -> None:
    markup = (
        '<form><label>Access point name <input name="x"></label><label>Access point password <input name="y" type="password">'
        '</label><label>Wireless network <select name="w"><option>Home<option>Shed</select></label>'
        '<label>Wireless password <input name="z" type="password"></label></form>'
    )
    assert roles_of(markup) == {"w": "network", "z": "network key"}


def test_an_open_box_for_the_key_is_one_too() -> None:
    markup = '<form><label>Network <input name="n"></label><label>Password <input name="k"></label></form>'
    found = settings_of(markup)
    assert (found["k"].role, found["k"].kind) == ("network key", "text")


def test_every_guessed_role_is_a_question() -> None:
    form = form_of(
        '<form><input name="ssid"><input name="psk" type="password"><input name="ota" type="password"></form>'
    )
    assert [(f.name, f.setting.role) for f in form.settings] == [
        ("ssid", "network"),
        ("psk", "network key"),
        ("ota", "update key"),
    ]
    assert all(any(f.setting.role in question for question in f.questions) for f in form.settings if f.setting.role)


def test_a_form_without_a_network_has_no_roles() -> None:
    assert guess_roles([Control("colour", "text", "red"), Control("count", "number", "3")]) == {}


# HTML Standard, 4.10.5.1.12 (number), 4.10.5.3.7 (min, max), 4.10.5.3.8 (step).
@pytest.mark.parametrize(
    ("attributes", "trial"),
    [
        ('value="24"', "25"),
        ('value="24" step="0.5"', "24.5"),
        ('value="50" max="50"', "49"),
        ('value="0" min="0" max="0"', None),
        ('min="10" max="20"', "11"),
        ("", None),
        ('value="1e2" step="any"', "101"),
        ('value="-0.05" step="0.05"', "0"),
        ('value="many"', None),
    ],
)
def test_another_number_to_type(attributes: str, trial: str | None) -> None:
    (found,) = form_of(f'<form><label>Every [min]: <input type="number" name="n" {attributes}></label></form>').settings
    assert found.setting.trial == trial
    assert found.setting.unit == "min"
    assert bool(found.questions) == (trial is None)


def test_kinds_and_what_is_typed() -> None:
    found = settings_of(
        '<form><input type="url" name="to" value="http://192.0.2.9/x"><input name="api_url">'
        '<input type="range" name="r" value="3">'
        '<select name="s"><option value="">choose</option><option value="a" selected>A</option><option value="b">B</option>'
        '<option value="c" disabled>C</option></select><input name="short" maxlength="4"><input type="search" name="w"></form>'
    )
    assert {name: setting.kind for name, setting in found.items()} == {
        "to": "address",
        "api_url": "address",
        "r": "number",
        "s": "text",
        "short": "text",
        "w": "text",
    }
    assert found["to"].trial == "http://192.0.2.1/hil"  # RFC 5737: TEST-NET-1
    assert (found["s"].default, found["s"].trial) == ("a", "b")
    assert (found["short"].canary, found["short"].trial) == (False, None)  # too short for a throw-away text
    assert found["w"].canary


def test_secrets_are_never_prefilled_and_a_shown_one_is_asked_about() -> None:
    form = form_of(
        '<form><input type="password" name="k" value="shown"><input type="password" name="s" maxlength="8"></form>'
    )
    shown, short = form.settings
    assert (shown.setting.kind, shown.setting.prefilled, shown.setting.default) == ("secret", False, None)
    assert any("defect" in question for question in shown.questions)
    assert any("8 characters only" in question for question in short.questions)


def test_what_nobody_can_change_is_left_out() -> None:
    form = form_of(
        '<form><input type="hidden" name="token" value="t"><input name="a"><input name="b" disabled><input name="c" readonly>'
        '<input type="file" name="f"><fieldset disabled><input name="d"></fieldset><input type="submit" name="go"></form>'
    )
    assert [found.name for found in form.settings] == ["a"]
    assert form.left_out == ("token (hidden)",)


def test_names_that_do_not_tell_apart() -> None:
    form = form_of(
        '<form><label>One <input name="v[]"></label><label>Two <input name="v[]"></label><input name="v[]"><input></form>'
    )
    assert [(f.name, f.setting.control, f.setting.label) for f in form.settings] == [
        ("v", None, "One"),
        ("v_2", None, "Two"),
    ]
    assert len(form.left_out) == 2


def test_names_of_other_letters_make_keys_all_the_same() -> None:
    assert [key_in_file(text) for text in ("Öffnen ab", "wifiPassword", "  a--b[] ", "網路", "2nd")] == [
        "offnen_ab",
        "wifi_password",
        "a_b",
        "",
        "2nd",
    ]
    assert list(settings_of('<form><input name="網路"><input name="密碼" type="password"></form>')) == [
        "setting",
        "setting_2",
    ]


def test_the_form_with_the_most_settings_is_the_one() -> None:
    form = form_of(
        '<form action="/find"><input name="q"></form><form action="/save"><input name="a"><input name="b"></form>'
    )
    assert [found.name for found in form.settings] == ["a", "b"]
    assert form.form is not None
    assert form.form.action == "http://203.0.113.1/save"


def test_controls_outside_any_form_are_a_script_s() -> None:
    form = form_of('<input name="ssid"><input name="psk" type="password"><button onclick="send()">Save</button>')
    assert not form.sends_itself
    assert [found.setting.role for found in form.settings] == ["network", "network key"]


def test_a_page_without_settings_has_no_form() -> None:
    page = read_page(b"<form><button>Go</button></form>", "text/html", "http://203.0.113.1/")
    assert recognise_form(page) is None
    assert recognise_form(read_page(b"{}", "application/json", "http://203.0.113.1/")) is None


def test_a_proposal_is_what_a_product_file_takes() -> None:
    for found in (*form_of(PIZZA).settings, *form_of(LABELLED).settings):
        assert isinstance(found, Recognised)
        assert Setting.model_validate(found.setting.model_dump()) == found.setting
