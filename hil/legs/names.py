"""Names on the unit's hotspot: what phones look up before they ask for any page, and questions that are none."""

from hil.core.product import Product
from hil.core.stages import Setup
from hil.instruments.bench import Bench
from hil.instruments.lookups import NAMES_PORT, Question
from hil.legs.leg import leg
from hil.legs.moves import enter_hotspot, hotspot_url
from hil.page.captive import AFTER_BROKEN, CAPTIVE_NAMES, OTHER_KINDS

HOTSPOT_NAMES_S = 8.0
PATIENCE_S = 1.0  # for one answer of a unit that promises no time for it; no source

_GOOD = Question(4711, "www.example.com", "A").octets()
BROKEN_QUESTIONS = {
    "nothing at all": b"",
    "a head cut short": _GOOD[:7],
    "a head alone": _GOOD[:12],
    "a name cut short": _GOOD[:18],
    "an answer": _GOOD[:2] + b"\x81\x80" + _GOOD[4:],
    "65535 questions": _GOOD[:4] + b"\xff\xff" + _GOOD[6:],
    "a name that points to itself": _GOOD[:12] + b"\xc0\x0c\x00\x01\x00\x01",
    "a name without end": _GOOD[:12] + b"\x3f" * 500,
    "all ones": b"\xff" * 512,
}
"""What no resolver sends; each breaks another rule of RFC 1035, 4.1, or of what a datagram holds (2.3.4)."""


@leg(
    begins=Setup(store="bench network"),
    ends=Setup(),
    expected_s=lambda _product: HOTSPOT_NAMES_S,
    profile="release",
)
def hotspot_names(bench: Bench, product: Product) -> None:
    """Look names up on the hotspot as phones do, send broken questions, and look one up again."""
    bench.access_point.down()  # the unit may look for its network meanwhile, and must not find it
    visitor = enter_hotspot(bench, product)
    if visitor is None:
        return
    if product.hotspot.names:
        server, promise = product.hotspot.address, product.limits.lookup_s
        patience_s = max(promise.patience_s, PATIENCE_S) if promise else PATIENCE_S
        for name in CAPTIVE_NAMES:
            bench.probe.look_up(server, name, "A", patience_s)
        for kind in OTHER_KINDS:
            bench.probe.look_up(server, CAPTIVE_NAMES[0], kind, patience_s)
        for purpose, octets in BROKEN_QUESTIONS.items():
            bench.probe.send_datagram(server, NAMES_PORT, octets, purpose)
        bench.probe.look_up(server, AFTER_BROKEN, "A", patience_s)
    visitor.get(hotspot_url(product, product.form.path), "form after broken questions")
    bench.probe.leave()
