"""Answers to what systems ask a network for: which of them make a phone show the form.

Statuses are RFC 9110's (15.4: redirection); what each system's own page says is common practice, from memory.
"""

import pytest

from hil.page.captive import CAPTIVE_PROBES, CaptiveAnswer, CaptiveProbe, leads_astray
from hil.page.fill import ControlRule
from hil.page.read import read_page

FORM_URL = "http://203.0.113.1/"
FORM = b"<!DOCTYPE html><title>Vent</title><form method=post action=/save><input name=network></form>"
OTHER_PAGE = b"<!DOCTYPE html><title>Vent</title><p>Welcome to the vent."
RULES = [ControlRule(name="network")]
BY_PATH = {probe.path: probe for probe in CAPTIVE_PROBES}
ANY = BY_PATH["/generate_204"]


def why(status: int, body: bytes = b"", location: str = "", probe: CaptiveProbe = ANY) -> str:
    url = f"http://203.0.113.1{probe.path}"
    page = read_page(body, "text/html; charset=utf-8", url)
    return leads_astray(probe, CaptiveAnswer(url, status, location, page, body), FORM_URL, RULES)


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
@pytest.mark.parametrize("location", ["http://203.0.113.1/", "http://203.0.113.1", "/", "http://203.0.113.1:80/"])
def test_a_redirect_to_the_form_leads_there(status: int, location: str) -> None:
    assert why(status, location=location) == ""


@pytest.mark.parametrize(
    "location",
    [
        "http://203.0.113.1/welcome",
        "https://203.0.113.1/",
        "http://203.0.113.7/",
        "http://vent.example/",
        "",
        "http://[x",
    ],
)
def test_a_redirect_elsewhere_does_not(location: str) -> None:
    assert why(302, location=location) == f"a redirect to {location!r}"


def test_the_form_itself_is_as_good_and_another_page_is_not() -> None:
    assert why(200, FORM) == ""
    assert "not the form: 'Welcome to the vent.'" in why(200, OTHER_PAGE)


@pytest.mark.parametrize(
    ("path", "status", "body"),
    [
        ("/generate_204", 204, b""),
        ("/hotspot-detect.html", 200, b"Success"),
        ("/connecttest.txt", 200, b"Microsoft Connect Test"),
        ("/ncsi.txt", 200, b"Microsoft NCSI"),
        ("/success.txt", 200, b"success\n"),
    ],
)
def test_what_a_network_that_leads_on_would_say_is_told_as_that(path: str, status: int, body: bytes) -> None:
    assert "as if the network led on" in why(status, body, probe=BY_PATH[path])


@pytest.mark.parametrize("status", [400, 401, 404, 500, 503])
def test_an_error_leads_nowhere(status: int) -> None:
    assert why(status, b"There is no such page.") == f"status {status}"


def test_each_system_is_asked_for_by_its_own_name() -> None:
    assert len({probe.purpose for probe in CAPTIVE_PROBES}) == len(CAPTIVE_PROBES)
    assert all("." in probe.host and probe.path.startswith("/") for probe in CAPTIVE_PROBES)
