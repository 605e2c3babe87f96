"""What a run types into the unit.

Held against IEEE 802.11-2020: an SSID has at most 32 octets (9.4.2.2); a passphrase is 8 to 63 characters, each of code
32 to 126 (J.4.1, "Suggested passphrase-to-PSK mapping", limits on passphrases).
"""

import pytest

from hil.core.product import Product, load_product
from hil.core.trial import Trial, draw
from hil.virtual import DEMO_PRODUCT

DRAWS = 50
LEAST_CANARY = 8  # shorter ones are found by chance: see hil.page.search


@pytest.fixture(scope="module")
def product() -> Product:
    return load_product(DEMO_PRODUCT)


@pytest.fixture(scope="module")
def trials(product: Product) -> list[Trial]:
    return [draw(product) for _ in range(DRAWS)]


def test_network_names_fit_an_ssid(trials: list[Trial]) -> None:
    for trial in trials:
        assert 1 <= len(trial.network.encode()) <= 32
        assert 1 <= len(trial.control_network.encode()) <= 32
        assert trial.network != trial.control_network


def test_the_network_key_is_a_passphrase(trials: list[Trial]) -> None:
    for trial in trials:
        assert 8 <= len(trial.network_key) <= 63
        assert all(32 <= ord(letter) <= 126 for letter in trial.network_key)


def test_the_form_is_given_the_bench_s_own_network(product: Product, trials: list[Trial]) -> None:
    network, key = product.form.by_role("network"), product.form.by_role("network key")
    assert network is not None
    assert key is not None
    for trial in trials:
        assert trial.values[network] == trial.network
        assert trial.values[key] == trial.network_key


def test_every_draw_is_another(trials: list[Trial]) -> None:
    for drawn in (
        [trial.network for trial in trials],
        [trial.network_key for trial in trials],
        [trial.values["unit_name"] for trial in trials],
        *([trial.values[name] for trial in trials] for name in trials[0].secret_names),
    ):
        assert len(set(drawn)) == DRAWS


def test_every_secret_of_the_product_is_a_canary_long_enough_to_be_no_chance(
    product: Product, trials: list[Trial]
) -> None:
    hidden = {name for name, setting in product.form.settings.items() if setting.secret}
    for trial in trials:
        assert set(trial.secrets) == hidden
        assert all(len(secret) >= LEAST_CANARY for secret in trial.secrets.values())
        # Each stands for itself: none is a part of another, nor of what may be shown.
        shown = [value for name, value in trial.values.items() if name not in hidden]
        for secret in trial.secrets.values():
            assert not any(secret in value for value in shown)


def test_trial_values_are_typed_as_the_product_file_says(product: Product, trials: list[Trial]) -> None:
    stated = {n: s.trial for n, s in product.form.settings.items() if s.trial is not None}
    assert stated
    for trial in trials:
        assert {name: trial.values[name] for name in stated} == stated


def test_a_setting_that_is_left_alone_is_not_typed() -> None:
    plain = load_product(DEMO_PRODUCT)
    settings = {name: s for name, s in plain.form.settings.items() if name in ("network", "network_key", "opens_at")}
    settings["opens_at"] = settings["opens_at"].model_copy(update={"trial": None})
    changed = plain.model_copy(update={"form": plain.form.model_copy(update={"settings": settings})})
    assert set(draw(changed).values) == {"network", "network_key"}
