"""The table of awkward texts, held against what it says it holds.

Sources: IEEE 802.11-2020, 9.4.2.2 and J.4.1; RFC 20 (ASCII: 95 printable characters, 32 of them signs beside the blank);
RFC 3629 (octets of UTF-8).
"""

import pytest

from hil.legs.awkward_texts import HEX_KEY, NETWORKS, PRINTABLE, SIGNS, TEXTS, AwkwardNetwork


def test_the_characters_are_those_of_ascii() -> None:
    assert len(PRINTABLE) == 95
    assert [ord(PRINTABLE[0]), ord(PRINTABLE[-1])] == [0x20, 0x7E]
    assert sorted(SIGNS) == [c for c in PRINTABLE if not c.isalnum() and c != " "]


@pytest.mark.parametrize("text", TEXTS)
def test_each_text_fits_into_32_octets_and_differs_from_the_others(text: str) -> None:
    assert 8 <= len(text.encode()) <= 32
    assert TEXTS.count(text) == 1
    assert text.isprintable()  # no control characters: a form may well refuse those


def test_the_first_texts_hold_every_sign() -> None:
    assert sorted(TEXTS[0]) == sorted(SIGNS)
    assert {text[0] for text in TEXTS} | {text[-1] for text in TEXTS} == set('+&%#🌱 "\\')


def test_the_texts_hold_utf_8_of_each_length() -> None:
    lengths = {len(character.encode()) for text in TEXTS for character in text}
    assert lengths == {1, 2, 3, 4}


@pytest.mark.parametrize("row", NETWORKS, ids=lambda row: row.what)
def test_each_network_is_one_that_wi_fi_allows(row: AwkwardNetwork) -> None:
    assert 1 <= len(row.name.encode()) <= 32
    assert 8 <= len(row.key) <= 63
    assert set(row.key) <= set(PRINTABLE)


def test_the_passphrases_hold_every_printable_character_and_both_lengths() -> None:
    assert set("".join(row.key for row in NETWORKS)) == set(PRINTABLE)
    assert {len(row.key) for row in NETWORKS} >= {8, 63}
    assert max(len(row.name.encode()) for row in NETWORKS) == 32


def test_the_hexadecimal_key_is_256_bits() -> None:
    assert len(bytes.fromhex(HEX_KEY.key)) == 32
    assert len(HEX_KEY.key) == 64
