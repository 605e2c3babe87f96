"""Whether what phones ask a hotspot for led to the form."""

from collections.abc import Iterator

from hil.core.product import Product
from hil.core.readings import Reading
from hil.evidence.pages import Fetched, PagesView
from hil.evidence.seen import Seen
from hil.page.captive import CAPTIVE_PROBES, CaptiveAnswer, CaptiveProbe, leads_astray
from hil.page.whole_form import rules_of_page

FORM_SEEN = "form after the stay"  # of the same leg


def led_to_form(pages: PagesView, product: Product) -> Iterator[tuple[str, Seen]]:
    """Whether each probe was answered with the form or a redirect to it, by what is promised of it."""
    for probe in CAPTIVE_PROBES:
        answer = pages.answer(probe.purpose)
        seen = answer if isinstance(answer, Seen) else _led(probe, answer, product, pages.of(FORM_SEEN))
        yield f"{probe.path} of {probe.host} leads to the form", seen


def first_octets(pages: PagesView) -> Iterator[tuple[str, Reading | Seen]]:
    """How long the first octet of each answer took."""
    for probe in CAPTIVE_PROBES:
        yield f"{probe.path}: asked → first octet", pages.first_octet(probe.purpose)


def _led(probe: CaptiveProbe, fetched: Fetched, product: Product, form: Fetched | None) -> Seen:
    moment = fetched.moment
    status = int(moment.number("status", 0.0))
    answer = CaptiveAnswer(moment.text("url"), status, moment.text("location"), fetched.page, fetched.body)
    form_url = f"http://{product.hotspot.address}{product.form.path}"
    why = leads_astray(probe, answer, form_url, rules_of_page(product.form), form.page.text if form else "")
    return Seen(not why, why or f"status {status}, to the form", moment.time_s)
