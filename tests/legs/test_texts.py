"""What the legs type: awkward texts fitted to what a setting takes.

Sources: RFC 3629 (a character of UTF-8 has one to four octets, none of which stands alone); IEEE 802.11-2020, J.4.1 (a key of
256 bits is entered as 64 hexadecimal digits).
"""

import pytest
from support.records import product_with

from hil.core.form_promise import Setting
from hil.core.product import load_product
from hil.legs.awkward_texts import HEX_KEY, NETWORKS
from hil.legs.door import other_value
from hil.legs.texts import awkward_networks, fitted
from hil.virtual import DEMO_PRODUCT


@pytest.mark.parametrize(
    ("change", "text", "expected"),
    [
        ({}, " a🌱 ", " a🌱 "),
        ({"longest": 5}, "a🌱b", "a🌱"),
        ({"longest": 4}, "a🌱b", "a"),  # never half a character
        ({"trims": True}, " a b ", "a b"),
        ({"longest": 2, "trims": True}, "a bc", "a"),
    ],
)
def test_a_text_is_cut_between_characters_and_trimmed_where_the_unit_may_trim(
    change: dict[str, object], text: str, expected: str
) -> None:
    assert fitted(text, Setting.model_validate({"control": "a", **change})) == expected


def test_a_hexadecimal_key_is_tried_only_where_it_is_promised() -> None:
    promised = awkward_networks(load_product(DEMO_PRODUCT))
    assert [row.key for row in promised.values()] == [row.key for row in (*NETWORKS, HEX_KEY)]
    without = awkward_networks(product_with({"form": {"settings": {"network_key": {"hex_key": False}}}}))
    assert list(without) == ["network 1", "network 2", "network 3"]


@pytest.mark.parametrize("value", ["vent-4k2", "vent-4ke", "e", "d"])
def test_an_edit_is_another_value_and_no_longer(value: str) -> None:
    assert other_value(value) != value
    assert len(other_value(value)) == len(value)
