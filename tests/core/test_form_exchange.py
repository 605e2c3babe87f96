"""What a product file may say of a form that works otherwise than by itself: each way in words, wrong combinations refused.

A file that cannot mean anything is refused with its key and a remedy (exit code 2), so that nobody judges a unit by it.
"""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from hil.cli.main import app
from hil.core.errors import InputError
from hil.core.form_promise import Form
from hil.core.product import load_product
from hil.core.product_words import describe
from hil.virtual import DEMO_PRODUCT

SHIPPED = DEMO_PRODUCT.read_text(encoding="utf-8")
NETWORK = 'network = { control = "network", '
FORM = "[form]\n"
RESTART = "restart_s = {"
REPORTS = (
    'reports_to = { control = "reports_to", kind = "address", default = "http://192.0.2.80/vents", '
    'trial = "http://198.51.100.1:8080/vents"'
)
NAMED = SHIPPED.replace('label = "Vent opens at (°C)"', 'control = "opens_at"').replace(
    'label = "Vent closes at (°C)"', 'control = "closes_at"'
)


def written(folder: Path, *changes: tuple[str, str], text: str = SHIPPED) -> Path:
    """The shipped product file with texts replaced."""
    for old, new in changes:
        assert text.count(old) == 1, (text.count(old), old)
        text = text.replace(old, new)
    file = folder / "product.toml"
    file.write_text(text, encoding="utf-8")
    return file


SAID = [
    ((FORM, FORM + 'user = "admin"\n'), "On the hotspot its pages ask for user 'admin', whose password is the key on"),
    ((FORM, FORM + 'request = { path = "/api" }\n'), "A script sends the settings: POST /api as JSON."),
    ((FORM, FORM + 'request = { path = "/api", method = "PUT", body = "json" }\n'), "PUT /api as JSON."),
    ((FORM, FORM + 'stored = { path = "/state" }\n'), "Stored values are read back at /state."),
    ((FORM, FORM), "After a save the unit restarts by itself."),
    ((FORM, FORM + 'saved = { then = "request", path = "/go" }\n'), "After a save the unit restarts on POST /go."),
    ((FORM, FORM + 'saved = { then = "request", path = "/go", method = "GET" }\n'), "restarts on GET /go."),
    ((NETWORK, NETWORK + 'page = "/network", '), "control 'network' on /network, "),
    ((NETWORK, NETWORK + 'listed_at = "/scan", '), "control 'network', picked from the list at /scan, "),
    ((NETWORK, NETWORK + 'listed_at = "/scan", listed_as = "ssid", typed_in = "other", '),
     "control 'network', picked from the list at /scan by 'ssid', or typed into 'other', "),
    ((REPORTS, 'reports_to = { controls = ["a", "b", "c", "d"], joined_by = ".", default = "192.0.2.80", trial = "198.51.100.1"'),
     "Setting reports_to (text): controls 'a', 'b', 'c', 'd' joined by '.', "),
]  # fmt: skip


@pytest.mark.parametrize(("change", "sentence"), SAID, ids=[sentence for _, sentence in SAID])
def test_each_way_is_said_in_words(tmp_path: Path, change: tuple[str, str], sentence: str) -> None:
    told = "\n".join(describe(load_product(written(tmp_path, change, text=NAMED))))
    assert sentence in told


def test_a_unit_that_joins_at_once_is_said_so(tmp_path: Path) -> None:
    file = written(tmp_path, (RESTART, "returns_later = {"), (FORM, FORM + 'saved = { then = "joins" }\n'))
    lines = file.read_text().splitlines(keepends=True)
    file.write_text("".join(line for line in lines if not line.startswith("returns_later")))
    assert "After a save the unit joins at once, without a restart." in describe(load_product(file))


def test_a_label_where_stored_is_said(tmp_path: Path) -> None:
    changes = [(FORM, FORM + 'stored = { path = "/now" }\n'), (NETWORK, NETWORK + 'label = "Network", ')]
    told = "\n".join(describe(load_product(written(tmp_path, *changes))))
    assert "control 'network', label 'Network' where stored, " in told


WRONG = [
    ([(FORM, FORM + 'key = "label"\n')], "form", "key goes with user"),
    ([(FORM, FORM + 'request = { path = "api" }\n')], "form.request.path", "'^/'"),
    ([(FORM, FORM + 'request = { path = "/api", method = "GET" }\n')], "form.request.method", "'POST' or 'PUT'"),
    ([(FORM, FORM + 'request = { path = "/api", body = "xml" }\n')], "form.request.body", "'json'"),
    ([(FORM, FORM + 'request = { path = "/api" }\n')], "form", "settings.opens_at needs control"),
    ([(FORM, FORM + 'saved = { then = "request" }\n')], "form.saved", "needs path"),
    ([(FORM, FORM + 'saved = { then = "restarts", path = "/go" }\n')], "form.saved", 'go with then = "request"'),
    ([(FORM, FORM + 'saved = { then = "joins", method = "GET" }\n')], "form.saved", 'go with then = "request"'),
    ([(FORM, FORM + 'saved = { then = "joins" }\n')], "(whole file)", "limits.restart_s is the time to a restart"),
    ([(FORM, FORM + 'saved = { then = "sleeps" }\n')], "form.saved.then", "'restarts', 'request' or 'joins'"),
    ([(NETWORK, NETWORK + 'label = "Network", ')], "form", "settings.network has control and label"),
    ([(NETWORK, NETWORK + 'page = "network", ')], "form.settings.network.page", "'^/'"),
    ([(NETWORK, NETWORK + 'listed_as = "ssid", ')], "form.settings.network", "listed_as goes with listed_at"),
    ([(NETWORK, NETWORK + 'joined_by = ".", ')], "form.settings.network", "joined_by goes with controls"),
    ([(NETWORK, 'network = { controls = ["a", "b"], joined_by = ".", ')], "form.settings.network", "a throw-away text"),
    ([('unit_name = { ', 'unit_name = { listed_at = "/scan", ')], "form.settings.unit_name", 'go with role = "network"'),
    ([('unit_name = { ', 'unit_name = { typed_in = "other", ')], "form.settings.unit_name", 'go with role = "network"'),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "begins", "says"), WRONG, ids=[changes[0][1] for changes, *_ in WRONG])
def test_what_cannot_be_meant_is_refused(
    tmp_path: Path, changes: list[tuple[str, str]], begins: str, says: str
) -> None:
    file = written(tmp_path, *changes)
    with pytest.raises(InputError) as refusal:
        load_product(file)
    said = str(refusal.value)
    assert said.startswith(f"{file}: {begins}"), said
    assert says in said
    checked = CliRunner().invoke(app, ["product", "check", str(file)])
    assert isinstance(checked.exception, InputError)  # the command ends with 2 for these


SETTING = {"control": "network", "role": "network"}
KEY = {"control": "key", "kind": "secret", "role": "network key", "prefilled": False}


@pytest.mark.parametrize(
    ("setting", "says"),
    [
        ({"controls": ["a"], "joined_by": "."}, "controls are two or more"),
        ({"controls": ["a", "b"]}, "joined_by is what stands between"),
        ({"controls": ["a", "b"], "joined_by": ".", "control": "c"}, "control is one control and controls are several"),
        ({"controls": ["a", "b"], "joined_by": ".", "canary": True}, "a throw-away text cannot be cut"),
        ({"controls": ["a", "b"], "joined_by": ".", "trial": "1.2.3"}, "trial = '1.2.3' does not fall into 2 parts"),
        ({"controls": ["a", "b"], "joined_by": ".", "default": "1"}, "default = '1' does not fall into 2 parts"),
        ({"controls": ["a", "b"], "joined_by": ".", "label": "L"}, "has control and label"),
    ],
)
def test_controls_that_make_no_value_are_refused(setting: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says.replace("(", r"\(")):
        Form.model_validate({"path": "/", "settings": {"spread": setting, "network": SETTING, "key": KEY}})


@pytest.mark.parametrize(
    ("setting", "says"),
    [
        ({"control": "network.name"}, "the key 'network' of form.request cannot hold 'network.name'"),
        ({"control": "other", "page": "/other"}, "settings.spread.page goes with forms of the pages' own"),
    ],
)
def test_what_a_script_cannot_send_is_refused(setting: dict[str, object], says: str) -> None:
    settings = {"spread": setting, "network": SETTING, "key": KEY}
    with pytest.raises(ValueError, match=says):
        Form.model_validate({"path": "/", "request": {"path": "/api"}, "settings": settings})


def test_one_control_of_the_same_name_on_another_page_is_another() -> None:
    settings = {"a": {"control": "x"}, "b": {"control": "x", "page": "/b"}, "network": SETTING, "key": KEY}
    assert set(Form.model_validate({"path": "/", "settings": settings}).pages) == {"/b"}


def test_what_is_read_beside_the_form_and_for_which_setting() -> None:
    settings = {
        "a": {"control": "a", "page": "/two"},
        "network": {**SETTING, "listed_at": "/scan"},
        "key": KEY,
    }
    form = Form.model_validate({"path": "/", "stored": {"path": "/state"}, "settings": settings})
    assert form.beside == ("/two", "/state", "/scan")
    assert form.told_at(form.settings["a"]) == ("/two", "/state")
    assert form.told_at(form.settings["network"]) == ("/state",)
    assert not form.is_one_page
