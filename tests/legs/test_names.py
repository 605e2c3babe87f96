"""Questions that are none, as dnspython reads them, and the names that are looked up."""

import re

import dns.exception
import dns.flags
import dns.message
import pytest

from hil.legs.names import BROKEN_QUESTIONS
from hil.page.captive import AFTER_BROKEN, CAPTIVE_NAMES, CAPTIVE_PROBES


def is_question(octets: bytes) -> bool:
    """Whether another library finds one question in it, which is no answer."""
    try:
        said = dns.message.from_wire(octets)
    except dns.exception.DNSException:
        return False
    return len(said.question) == 1 and not said.flags & dns.flags.QR


@pytest.mark.parametrize("purpose", BROKEN_QUESTIONS)
def test_what_is_sent_as_broken_is_no_question(purpose: str) -> None:
    assert not is_question(BROKEN_QUESTIONS[purpose])


def test_each_is_broken_in_a_way_of_its_own() -> None:
    assert len(set(BROKEN_QUESTIONS.values())) == len(BROKEN_QUESTIONS) > 5


def test_names_are_names_of_hosts() -> None:
    """RFC 1123, 2.1: labels of letters, digits and hyphens, 63 at most."""
    label = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)")
    for name in (*CAPTIVE_NAMES, AFTER_BROKEN):
        assert all(label.fullmatch(part) for part in name.split("."))
    assert {probe.host for probe in CAPTIVE_PROBES} < set(CAPTIVE_NAMES)
    assert len(set(CAPTIVE_NAMES)) == len(CAPTIVE_NAMES)
