"""The product file. Limits of what it may say held against IEEE 802.11-2020 9.4.2.2 (a network's name: at most 32
octets), RFC 791 (an address is four octets) and the promises table of the design page."""

from pathlib import Path

import pytest

from hil.core.errors import InputError
from hil.core.form_promise import Form, Setting
from hil.core.product import Bound, Flash, Lamp, Memory, Product, Restarts, load_product
from hil.core.product_words import describe
from hil.virtual import DEMO_PRODUCT

SHIPPED = DEMO_PRODUCT.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def product() -> Product:
    return load_product(DEMO_PRODUCT)


def test_the_shipped_product_promises_what_the_design_says(product: Product) -> None:
    limits = {name: (b.lower, b.upper) for name, b in product.limits if b is not None}
    of_the_design = {
        "lamp_on_s": (None, 1.0),
        "joining_s": (None, 3.0),
        "first_hotspot_s": (None, 6.0),
        "gives_up_s": (24 - 1.5, 24 + 1.5),
        "hotspot_up_s": (None, 30.0),
        "lease_s": (None, 5.0),
        "first_octet_s": (None, 1.0),
        "restart_s": (None, 4.0),
        "connected_s": (None, 12.0),
    }
    assert limits | of_the_design == limits  # later promises stand beside them
    assert {name: str(stage.lamp) for name, stage in product.stages.items()} == {
        "starting": "white steady",
        "joining": "white flashing 0.6 Hz",
        "setup": "blue steady",
        "connected": "green steady",
        "updating": "white flashing 2 Hz",
        "fault": "red flashing 2 Hz",
    }
    assert (product.hotspot.security, product.hotspot.address) == ("wpa2", "203.0.113.1")
    assert product.status.path == "/now"


def test_the_shipped_flash_rates_lie_in_the_bands_of_iec_60073(product: Product) -> None:
    """IEC 60073:2002 bands as the design quotes them: slow 0.4 to 0.8 Hz, normal 1.4 to 2.8 Hz."""
    rates = {stage.lamp.flash_hz for stage in product.stages.values() if stage.lamp.flash_hz}
    assert rates == {0.6, 2.0}
    assert all(0.4 <= rate <= 0.8 or 1.4 <= rate <= 2.8 for rate in rates)


def test_the_hotspot_s_name_holds_the_last_four_hex_digits(product: Product) -> None:
    assert product.hotspot.name_for("02:4D:56:00:A7:31") == "mossgate-a731"


LAMP = 'connected = { lamp = { colour = "green" } }'
SSID = 'name = "mossgate-{address_tail}"'
WRONG = [  # what is changed, into what, what the message begins with, what it says besides
    ('model = "MV-2"', "model = 2", "model = 2", "a valid string"),
    ('model = "MV-2"', "", "model: missing", "Add it"),
    ("[status]", "[statuss]", "statuss: unknown key", "status"),
    ('free_memory = "Free memory"', "", "(whole file)", "set status.free_memory"),
    ("leak_octets = { upper = 8 }", "leak_octets = { }", "memory.leak_octets = {}", "lower, upper or both"),
    ('colour = "green"', 'colour = "teal"', "stages.connected.lamp.colour = 'teal'", "'white', 'red', 'amber'"),
    ('colour = "green"', 'color = "green"', "stages.connected.lamp.color: unknown key", "colour, duty, flash_hz"),
    ("setup = { lamp", "set_up = { lamp", "stages.set_up: unknown key", "'starting', 'joining', 'setup'"),
    ('setup = { lamp = { colour = "blue" } }', "", "(whole file)", "stages.setup is missing"),
    (
        LAMP,
        'connected = { lamp = { colour = "blue" } }',
        "(whole file)",
        "stages.setup and stages.connected have the same",
    ),
    (LAMP, "connected = { lamp = { } }", "stages.connected.lamp = {}", "either a colour or a sequence"),
    (
        LAMP,
        'connected = { lamp = { colour = "green", duty = 1.0 } }',
        "stages.connected.lamp.duty = 1.0",
        "less than 1",
    ),
    (
        LAMP,
        'connected = { lamp = { sequence = [{ colour = "red", for_s = 1.0 }] } }',
        "stages.connected.lamp",
        "two parts",
    ),
    ("flash_hz = 0.6", "flash_hz = 25", "stages.joining.lamp.flash_hz = 25", "less than or equal to 20"),
    ("flash_hz = 0.6", "flash_hz = 0", "stages.joining.lamp.flash_hz = 0", "greater than 0"),
    ("hotspot_up_s = { upper = 30.0 }", "hotspot_up_s = 30", "limits.hotspot_up_s = 30", "a table"),
    ("hotspot_up_s = { upper = 30.0 }", "hotspot_up_s = {}", "limits.hotspot_up_s = {}", "lower, upper or both"),
    ("hotspot_up_s = { upper = 30.0 }", "", "limits.hotspot_up_s: missing", "Add it"),
    ("upper = 25.5", "upper = 22.5", "limits.gives_up_s = {'lower': 22.5, 'upper': 22.5}", "lower must be below upper"),
    ("lease_s = { upper = 5.0 }", "lease_s = { upper = -5.0 }", "limits.lease_s.upper = -5.0", "greater than 0"),
    ("lease_s", "leases_s", "limits.leases_s: unknown key", "lease_s"),
    (SSID, 'name = ""', "hotspot.name = ''", "at least 1 character"),
    (SSID, f'name = "{"x" * 29}{{address_tail}}"', "hotspot.name = 'xxx", "at most 32 octets, and this one 33"),
    (SSID, f'name = "{"ä" * 15}{{address_tail}}"', "hotspot.name = 'äää", "at most 32 octets, and this one 34"),
    (SSID, 'name = "mossgate-{serial}"', "hotspot.name = 'mossgate-{serial}'", "{address_tail}"),
    ('security = "wpa2"', 'security = "wpa3"', "hotspot.security = 'wpa3'", "'open' or 'wpa2'"),
    ('security = "wpa2"', 'security = "open"', "hotspot", 'key = "label" goes with security = "wpa2"'),
    ('address = "203.0.113.1"', 'address = "203.0.113"', "hotspot.address = '203.0.113'", "should match"),
    ('address = "203.0.113.1"', 'address = "256.0.113.1"', "hotspot.address = '256.0.113.1'", "256"),
    ('path = "/"', 'path = "form"', "form.path = 'form'", "'^/'"),
    ('role = "network", ', "", "form", 'one setting needs role = "network"'),
    ('role = "network", ', 'role = "wifi", ', "form.settings.network.role = 'wifi'", "'network', 'network key'"),
    ('role = "update key"', 'role = "network key"', "form", "each role goes to one setting"),
    ('control = "unit_name", ', "", "form.settings.unit_name", "control (its name) or label (its text)"),
    (
        'control = "network_key"',
        'control = "network"',
        "form",
        "settings.network and settings.network_key are recognised",
    ),
    ('"secret", prefilled = false', '"secret", prefilled = true', "form.settings.report_key", "prefilled = false"),
    ("hex_key = true", 'refuses = "["', "form.settings.network_key", "'[' is not a regular expression"),
    ("longest = 128", "longest = 0", "form.settings.reports_to.longest = 0", "greater than 0"),
    ("longest = 128", "hex_key = true", "form.settings.reports_to", 'hex_key goes with role = "network key"'),
    (', without_key = "yes"', "", "form.settings.network_open", 'without_key goes with role = "network security"'),
    (', role = "netmask"', "", "form", 'one needs role = "netmask"'),
    ('role = "gateway"', 'role = "gateway", blank = "keeps"', "form.settings.gateway", 'leave blank = "clears"'),
    ('trial = "27.5"', "trial = 27.5", "form.settings.opens_at.trial = 27.5", "a valid string"),
    ("start = 'rst:0x'", "start = '('", "console", "'(' is not a regular expression"),
    ("baud = 115200", "baud = 0", "console.baud = 0", "greater than 0"),
    ('path = "/update"', 'path = "update"', "update.path = 'update'", "'^/'"),
    (
        'kind = "secret", role = "update key"',
        'kind = "secret"',
        "(whole file)",
        'needs a setting with role = "update key"',
    ),
    (
        '[update]\npath = "/update"\nuser = "vent"\n',
        "",
        "(whole file)",
        "limits.updated_s is promised, but there is no",
    ),
]


@pytest.mark.parametrize(("old", "new", "begins", "says"), WRONG, ids=[new or f"no {old}" for old, new, *_ in WRONG])
def test_a_wrong_product_file_names_file_key_value_and_remedy(
    tmp_path: Path, old: str, new: str, begins: str, says: str
) -> None:
    assert old in SHIPPED
    file = tmp_path / "product.toml"
    file.write_text(SHIPPED.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        load_product(file)
    said = str(refusal.value)
    assert said.startswith(f"{file}: {begins}"), said
    assert says in said
    assert len(said) - len(str(file)) < 360  # a person reads it at the bench
    assert refusal.value.remedy


def test_a_name_of_just_32_octets_is_taken(tmp_path: Path) -> None:
    file = tmp_path / "product.toml"
    file.write_text(SHIPPED.replace(SSID, f'name = "{"x" * 28}{{address_tail}}"'), encoding="utf-8")
    assert len(load_product(file).hotspot.name_for("02:00:00:00:a7:31")) == 32


@pytest.mark.parametrize(
    ("bound", "words", "patience_s"),
    [
        (Bound(upper=30.0), "≤ 30 s", 45.0),
        (Bound(lower=22.5, upper=25.5), "22.5 … 25.5 s", 38.25),
        (Bound(lower=2.0), "≥ 2 s", 3.0),
    ],
)
def test_a_bound(bound: Bound, words: str, patience_s: float) -> None:
    assert str(bound.limits) == words
    assert bound.patience_s == pytest.approx(patience_s)


@pytest.mark.parametrize(
    ("lamp", "fastest_hz", "words"),
    [
        (Lamp(colour="blue"), 0.0, "blue steady"),
        (Lamp(colour="red", flash_hz=2.0), 2.0, "red flashing 2 Hz"),
        # One change each 0.2 s is what a flash of 2.5 Hz has.
        (
            Lamp(sequence=(Flash(colour="red", for_s=0.2), Flash(colour="green", for_s=0.8))),
            2.5,
            "sequence red 0.2 s, green 0.8 s",
        ),
    ],
)
def test_a_lamp(lamp: Lamp, fastest_hz: float, words: str) -> None:
    assert lamp.fastest_hz == pytest.approx(fastest_hz)
    assert str(lamp) == words


def test_the_fastest_flash_is_that_of_all_stages(product: Product) -> None:
    assert product.fastest_flash_hz == 2.0


def test_a_setting_is_found_by_its_role(product: Product) -> None:
    assert product.form.by_role("update key") == "update_key"
    assert product.form.by_role("no such role") is None


def test_what_is_typed_for_a_network_with_a_key_and_without(product: Product) -> None:
    secured = {"network": "here", "network_key": "k" * 8, "network_open": ""}
    assert product.form.network_values("here", "k" * 8) == secured
    open_ = {"network": "here", "network_key": "", "network_open": "yes"}
    assert product.form.network_values("here", None) == open_


@pytest.mark.parametrize(("blank", "typed"), [("clears", {"a": "here", "b": ""}), ("keeps", {}), ("refused", {})])
def test_without_a_setting_for_it_only_a_key_that_a_blank_clears_says_that_there_is_none(
    blank: str, typed: dict[str, str]
) -> None:
    key = {"control": "b", "role": "network key", "kind": "secret", "prefilled": False, "blank": blank}
    form = Form.model_validate({"path": "/", "settings": {"a": {"control": "a", "role": "network"}, "b": key}})
    assert form.network_values("here", None) == typed
    assert form.network_values("here", "k" * 8) == {"a": "here", "b": "k" * 8}
    assert form.address_values() == {}


def test_what_is_typed_for_a_fixed_address_and_for_none(product: Product) -> None:
    typed = {"fixed_address": "192.0.2.7", "netmask": "255.255.255.0", "gateway": "192.0.2.1"}
    assert product.form.address_values(*typed.values()) == typed
    assert product.form.address_values() == dict.fromkeys(typed, "")


def test_a_secret_is_known_by_its_kind() -> None:
    assert Setting(control="k", kind="secret", prefilled=False).secret
    assert not Setting(control="k").secret


def test_a_description_tells_every_promise(product: Product) -> None:
    told = "\n".join(describe(product))
    assert all(f"Limit {name}: {bound.limits}." in told for name, bound in product.limits if bound)
    assert all(f"Stage {name}: lamp {stage.lamp}." in told for name, stage in product.stages.items())
    assert all(f"Setting {name} " in told for name in product.form.settings)
    assert "Setting unit_name (text): control 'unit_name', shown as stored, blank refused, at most 32 octets." in told
    assert "A network without a key can be saved, by network_open." in told
    assert "The address can be fixed, by fixed_address, netmask, gateway; blank, it is undone." in told
    assert all(
        text in told for text in ("mossgate-{address_tail}", "wpa2", "203.0.113.1", "/settings", "/now", "115200")
    )


def test_an_update_is_told_with_where_it_is_posted(product: Product) -> None:
    said = "When connected an update is posted to /update by user 'vent' with the update key."
    assert said in describe(product)
    assert said not in describe(product.model_copy(update={"update": None}))


def test_what_is_promised_of_many_starts(product: Product) -> None:
    """That joining hardly depends on what started the unit: 1.5, where reports from the field ask for 2 at most."""
    assert product.restarts.spread == 1.5
    said = "Over many starts the 95th percentile of the time to an address is at most 1.5 times its median."
    assert said in describe(product)
    silent = product.model_copy(update={"restarts": Restarts()})
    assert said not in describe(silent)


@pytest.mark.parametrize("spread", [1.0, 0.5])
def test_no_percentile_lies_below_the_median(spread: float) -> None:
    with pytest.raises(ValueError, match="greater than 1"):
        Restarts(spread=spread)


def test_what_memory_may_cost_is_judged_in_octets_and_told(product: Product) -> None:
    promise = product.memory.leak_octets
    assert promise is not None
    assert str(promise.limits) == "≤ 8 octets"
    costs = "each page load, aborted load and rejoin costs ≤ 8 octets of it for good, over many."
    said = f"Free memory beside 'Free memory': {costs}"
    assert said in describe(product)
    assert said not in describe(product.model_copy(update={"memory": Memory()}))
