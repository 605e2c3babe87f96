"""The unit's hotspot in use: what phones ask of it, a stay of some length, and a visitor who leaves in mid-form."""

from hil.core.product import Product
from hil.core.stages import Setup
from hil.core.timeline import Expired
from hil.instruments.bench import Bench
from hil.instruments.proxy_request import HOST_FIELD
from hil.instruments.visits import Visitor
from hil.legs.door import Door, fill_in, hotspot_door, other_value
from hil.legs.leg import leg
from hil.legs.moves import from_unit, hotspot_url
from hil.page.attempts import TLS_PORT, port_purpose
from hil.page.captive import CAPTIVE_PROBES
from hil.page.fill import FormRequest

STAY_S = 30.0
ALONE_S = 12.0
LOOKS_ROUND_S = 2.0  # a chip that looks for a network is on other channels: 13 of them, 0.12 s each, and back
HOTSPOT_USED_S = STAY_S + 10.0


@leg(
    begins=Setup(store="bench network"),
    ends=Setup(),
    expected_s=lambda _product: HOTSPOT_USED_S,
    profile="release",
)
def hotspot_used(bench: Bench, product: Product) -> None:
    """Stay on the hotspot, ask for what phones ask for, send half a form and leave, and come back."""
    bench.access_point.down()  # the unit may look for its network meanwhile, and must not find it
    door = hotspot_door(bench, product)
    if door is None:
        return
    visitor = door.visitor
    if product.hotspot.captive:
        _ask_as_phones_do(visitor, product)
    knock(visitor, product.hotspot.address, TLS_PORT)
    _stay(bench)
    half = _half_a_form(bench, door)
    if half is not None:
        with visitor.connection(half.url, "half a form") as connection:
            connection.send(_half_of(half, product))
            bench.probe.leave()
    else:
        bench.probe.leave()
    _leave_alone(bench)
    door = hotspot_door(bench, product)
    if door is not None:
        door.look("form after coming back")
        bench.probe.leave()


def knock(visitor: Visitor, host: str, port: int) -> None:
    """See whether a TCP port is open, refuses or is silent; nothing is sent."""
    with visitor.connection(f"http://{host}:{port}/", port_purpose(port)):
        pass


def _ask_as_phones_do(visitor: Visitor, product: Product) -> None:
    for probe in CAPTIVE_PROBES:
        url = hotspot_url(product, probe.path)
        visitor.get(url, probe.purpose, fields={HOST_FIELD: probe.host}, follow=False)


def _stay(bench: Bench) -> None:
    """Do nothing on the hotspot for a while; ends early where the unit sends the probe away."""
    bench.timeline.add("leg", "stays on the hotspot", for_s=STAY_S)
    left = bench.timeline.wait(
        lambda moment: moment.is_(bench.probe.source, "left"),
        limit_s=STAY_S,
        awaited="nothing: the probe should stay on the hotspot",
    )
    bench.timeline.add("leg", "has stayed on the hotspot", whole=isinstance(left, Expired))


def _leave_alone(bench: Bench) -> None:
    """Keep off the hotspot until the unit has looked for its network, if it does so where nobody is on its hotspot."""
    seeks = bench.timeline.wait(
        from_unit(bench, "seeks"),
        limit_s=ALONE_S,
        awaited="a look of the unit for its network",
    )
    if not isinstance(seeks, Expired):
        bench.clock.pause(LOOKS_ROUND_S)


def _half_a_form(bench: Bench, door: Door) -> FormRequest | None:
    """Fill the form in with other values; None, and booked why, where that cannot be done."""
    values, product = bench.trial.values, door.product
    changed = {name: other_value(values[name]) for name in [product.form.text_to_change] if name is not None}
    return fill_in(bench, product, door.look("form after the stay"), {**values, **changed})


def _half_of(request: FormRequest, product: Product) -> bytes:
    """The head and half the body; where the head is all there is, half of that."""
    head = _head(request, product)
    return head + request.body[: len(request.body) // 2] if request.body else head[: len(head) // 2]


def _head(request: FormRequest, product: Product) -> bytes:
    """The head of a form's request, which promises the whole of it."""
    path = "/" + request.url.partition("://")[2].partition("/")[2]
    lines = (
        f"{request.method} {path} HTTP/1.1",
        f"Host: {product.hotspot.address}",
        f"Content-Type: {request.content_type}",
        f"Content-Length: {len(request.body)}",
        "Connection: close",
    )
    return "\r\n".join([*lines, "", ""]).encode("ascii")
