"""From a bare board into the bench's network: the build is put on, the first start, the form."""

from hil.core.build import Build
from hil.core.product import Product
from hil.core.stages import Anywhere, Connected, Off, Setup
from hil.instruments.bench import Bench
from hil.instruments.flasher import FlashCheck, NoLoader
from hil.legs.door import fill_in, hotspot_door
from hil.legs.leg import leg
from hil.legs.moves import give_up, status_page, wait_connected, watch_stay

PAGE_S = 2.0
FLASH_S = 20.0
FLASHER_PATIENCE_S = 60.0  # shown to those who watch; the flasher has limits of its own
STAY_S = 4.0
PUT_ON_SWITCHES = 3  # off, on, off
DARK_S = 1.5  # frames of the dark lamp are the camera's reference


@leg(begins=Anywhere(), ends=Off(store="erased"), expected_s=lambda _product: FLASH_S, switches=PUT_ON_SWITCHES)
def build_flashed(bench: Bench, product: Product) -> None:
    """Erase the whole unit, put the build on it, read it back, and leave it without supply."""
    del product
    put_on(bench, bench.build, DARK_S)


def put_on(bench: Bench, build: Build, dark_s: float, booked_as: str = "verified") -> bool:
    """Erase the whole unit, put a build on it, read it back, and leave it without supply; whether its loader answered."""
    bench.power.off(asked_by="leg")
    bench.clock.pause(dark_s)
    bench.console.close()  # first: what a bare chip says of its want of a program is no crash of the unit's
    bench.power.on(asked_by="leg")
    check: FlashCheck | None = None
    try:
        with (
            bench.timeline.busy_with("the flasher: erase, write, read back", FLASHER_PATIENCE_S),
            bench.flasher.session(),
        ):
            _book_chip(bench)
            bench.flasher.erase_all()
            check = bench.flasher.write(build)
            book_check(bench, check, booked_as)
    except NoLoader as error:
        bench.timeline.add("flasher", "no loader", why=error.problem)
        give_up(bench, f"the chip did not answer in its loader: {error.problem}")
    bench.power.off(asked_by="leg")
    bench.console.open()
    return check is not None


def _book_chip(bench: Bench) -> None:
    """Book who the chip says it is, where it can be asked."""
    chip = bench.flasher.identity()
    if chip is not None:
        told = {"chip": chip.chip, "address": chip.address.hex(":"), "flash_octets": chip.flash_size}
        bench.timeline.add("flasher", "chip", details=told)


def book_check(bench: Bench, check: FlashCheck, kind: str = "verified") -> None:
    """Book what the flasher read back; of another build than the run's under another kind."""
    bench.timeline.add("flasher", kind, matches=check.matches, seen_sha256=check.seen_sha256)


@leg(
    begins=Off(store="erased"),
    ends=Setup(store="defaults"),
    expected_s=lambda product: (
        product.limits.hotspot_up_s.upper or 0.0 if product.limits.first_hotspot_s is None else 6.0
    ),
)
def first_start(bench: Bench, product: Product) -> None:
    """Start for the first time after the erase: the unit opens its hotspot, and the probe looks at the form as shipped."""
    bench.access_point.up(bench.network)
    look_as_shipped(bench, product)


def look_as_shipped(bench: Bench, product: Product) -> None:
    """Power up a unit without settings, and look at its form."""
    promise = product.limits.first_hotspot_s or product.limits.hotspot_up_s
    bench.power.on(asked_by="leg")
    bench.air.watch(product.hotspot.name_for(bench.label.address), limit_s=promise.patience_s)
    door = hotspot_door(bench, product)
    if door is not None:
        door.look("form as shipped")
        bench.probe.leave()


@leg(
    begins=Setup(store="defaults"),
    ends=Connected(store="bench network"),
    expected_s=lambda product: (product.limits.connected_s.upper or 0.0) + PAGE_S + STAY_S,
)
def form_saved(bench: Bench, product: Product) -> None:
    """Fill in the form through the hotspot and save it: the unit restarts once, joins, and stays connected."""
    bench.access_point.up(bench.network)
    door = hotspot_door(bench, product)
    if door is None:
        return
    request = fill_in(bench, product, door.look("form to fill"), bench.trial.values)
    if request is None:
        bench.probe.leave()
        return
    mark = bench.timeline.mark()
    bench.timeline.add("ledger", "asked", asked_by="form")
    door.send(request, "save")
    restart_s = product.limits.restart_s.patience_s if product.limits.restart_s else 0.0
    address = wait_connected(bench, product.limits.connected_s.patience_s + restart_s, mark)
    bench.probe.leave()
    if address is None:
        return
    status_page(bench, product, address, "status")
    watch_stay(bench, STAY_S)
    status_page(bench, product, address, "status later")
