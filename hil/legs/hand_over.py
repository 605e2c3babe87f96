"""The end of a run: the unit is left as shipped and without supply."""

from hil.core.product import Product
from hil.core.stages import Anywhere, Off
from hil.instruments.bench import Bench
from hil.instruments.flasher import NoLoader
from hil.legs.leg import leg
from hil.legs.moves import give_up
from hil.legs.start import FLASHER_PATIENCE_S, book_check, look_as_shipped

HAND_OVER_S = 25.0


@leg(begins=Anywhere(), ends=Off(), expected_s=lambda _product: 1.0)
def unplugged(bench: Bench, product: Product) -> None:
    """Switch the supply off."""
    del product
    bench.power.off(asked_by="leg")


@leg(begins=Anywhere(), ends=Off(store="defaults"), expected_s=lambda _product: HAND_OVER_S, last=True, switches=5)
def hand_over(bench: Bench, product: Product) -> None:
    """Read the build back, erase the settings, start once more with the bench's network in reach, and switch off."""
    bench.power.off(asked_by="leg")
    bench.access_point.down()  # a quick unit would join, as it should, before its settings are erased
    bench.clock.pause(1.0)
    bench.power.on(asked_by="leg")
    bench.console.close()
    try:
        with (
            bench.timeline.busy_with("the flasher: read back, erase the settings", FLASHER_PATIENCE_S),
            bench.flasher.session(),
        ):
            book_check(bench, bench.flasher.verify(bench.build))
            for region in bench.build.settings:
                bench.flasher.erase_region(region.offset, region.size)
    except NoLoader as error:
        bench.timeline.add("flasher", "no loader", why=error.problem)
        give_up(bench, f"the chip did not answer in its loader: {error.problem}")
    bench.power.off(asked_by="leg")
    bench.console.open()
    bench.access_point.up(bench.network)
    bench.timeline.add("leg", "first start begins")
    look_as_shipped(bench, product)
    bench.power.off(asked_by="leg")
