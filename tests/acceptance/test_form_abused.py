"""The setup form under abuse: it lives on with its settings, and no broken request is taken for a good one.

What a request may come to: an error status (RFC 9110, 15.5 and 15.6), or the end of the connection. Well-formed oddities
may also be answered with a page, or sent elsewhere as hotspots do. Left without any answer, with the probe still there, is a
failure of the unit.
"""

from hil_acceptance.steady import judge_no_leak, judge_steady
from hil_acceptance.texts import hidden_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs

BEFORE, AFTER = "form before abuse", "form after abuse"
PLACES = ("form", "form's target")
OVERSIZED = ("declared length of 100 MB", "body of 64 kB")
BROKEN = (
    "request line of one word",
    "request line of no text",
    "half a body",
    "multipart without its end",
    "body of 100 fields",  # none of them one of the form's
)
METHODS = tuple(f"{method} on the {place}" for method in ("PUT", "DELETE", "WHISK") for place in PLACES)
ODD = (
    *(f"HEAD on the {place}" for place in PLACES),
    "headers of 16 kB",
    "unknown path",
    "double slash",
    "path of 4000 octets",
)
AT_ONCE, IDLE = 20, (1, 2, 4)


@needs("pages")
def test_broken_requests_are_turned_away(form_abused: LegEvidence, judge: Judge) -> None:
    """Broken requests get an error status or the end of the connection, never success."""
    for purpose in BROKEN:
        judge.holds(form_abused.pages.turned_away(purpose), f"{purpose}: error status, or closed")
    # A unit may wait for the rest of a slow body for as long as it likes, if it serves others meanwhile.
    slow = form_abused.pages.turned_away("body sent slowly", also=("silence",))
    judge.holds(slow, "body sent slowly: error status, closed, or still waiting")


@needs("pages")
def test_oversized_requests_are_turned_away(form_abused: LegEvidence, judge: Judge) -> None:
    """Oversized requests get an error status or the end of the connection (RFC 9110, 15.5.14), never success."""
    for purpose in OVERSIZED:
        judge.holds(form_abused.pages.turned_away(purpose), f"{purpose}: error status, or closed")


@needs("pages")
def test_wrong_methods_are_turned_away(form_abused: LegEvidence, judge: Judge) -> None:
    """Methods the form does not have are not taken for the form's (RFC 9110, 9.1)."""
    for purpose in METHODS:
        seen = form_abused.pages.turned_away(purpose, also=("redirect",))
        judge.holds(seen, f"{purpose}: error status, redirect, or closed")


@needs("pages")
def test_odd_requests_are_answered(form_abused: LegEvidence, judge: Judge) -> None:
    """Odd requests are answered, somehow, or closed; HEAD without content (RFC 9110, 9.3.2)."""
    for purpose in ODD:
        seen = form_abused.pages.turned_away(purpose, also=("success", "redirect"))
        judge.holds(seen, f"{purpose}: any answer, or closed")
    for place in PLACES:
        judge.holds(form_abused.pages.head_alone(f"HEAD on the {place}"), f"HEAD on the {place}: no content")


@needs("pages")
def test_connections_at_once_are_answered(form_abused: LegEvidence, judge: Judge) -> None:
    """Of many connections at once each is answered or turned away."""
    for number in range(1, AT_ONCE + 1):
        purpose = f"connection {number} of {AT_ONCE} at once"
        seen = form_abused.pages.turned_away(purpose, also=("success", "redirect", "refusal"))
        judge.holds(seen, f"{purpose}: any answer, refused, or closed")


@needs("pages")
def test_form_beside_idle_connections_in_time(form_abused: LegEvidence, product: Product, judge: Judge) -> None:
    """The form's first octet comes in time while other connections are idle, or dribble."""
    pages, promise = form_abused.pages, product.limits.first_octet_idle_s
    for count in IDLE:
        judge.within(promise, pages.first_octet(f"form beside {count} idle"), f"{count} idle: asked → first octet")
    slow = pages.first_octet("form while a body comes slowly")
    judge.within(promise, slow, "a slow body beside: asked → first octet")


@needs("pages")
def test_form_after_many_connections_in_time(form_abused: LegEvidence, product: Product, judge: Judge) -> None:
    """The form's first octet comes in time after many connections, and after many aborted loads."""
    for purpose in (f"form after {AT_ONCE} at once", "form after 20 aborted loads"):
        judge.holds(form_abused.pages.served(purpose), f"{purpose}: served")
        judge.within(
            product.limits.first_octet_s, form_abused.pages.first_octet(purpose), f"{purpose}: asked → first octet"
        )


@needs("pages")
def test_settings_outlive_abuse(form_abused: LegEvidence, product: Product, judge: Judge) -> None:
    """After the abuse the form is served, with the values it had, and shows nothing of the secrets."""
    pages = form_abused.pages
    judge.holds(pages.served(BEFORE), "the form is served before")
    judge.holds(pages.served(AFTER), "the form is served after")
    judge.holds(pages.same_values(BEFORE, AFTER), "the form shows what it showed before")
    judge.holds(pages.shows(AFTER, hidden_values(product)), "secrets show nothing")


@needs("air")
def test_stays_in_setup_under_abuse(form_abused: LegEvidence, judge: Judge) -> None:
    """The hotspot is on the air to the end of the abuse, and never began anew."""
    judge.holds(form_abused.air.on_air_throughout(), "beacons throughout, time stamps rising")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_under_abuse(form_abused: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts under the abuse."""
    judge_steady(form_abused, judge)


@needs("pages", "console", "air")
def test_no_secret_leaks_under_abuse(form_abused: LegEvidence, judge: Judge) -> None:
    """No canary secret is in an answer to abuse, on the console or in the air."""
    judge_no_leak(form_abused, judge)
