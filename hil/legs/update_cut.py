"""The update with the supply cut under way: whenever that is, the old version or the new one must start, with its settings."""

from dataclasses import dataclass

from hil.core.build import Build
from hil.core.moments import Json
from hil.core.product import Product
from hil.core.stages import Connected, Off
from hil.instruments.bench import Bench
from hil.legs.door import come_back, network_door, wait_restart
from hil.legs.leg import leg
from hil.legs.moves import give_up
from hil.legs.start import PUT_ON_SWITCHES, put_on
from hil.legs.update import FLASH_S, START_S, UPLOAD_S, is_promised, look, updated_s
from hil.legs.uploading import Sent, send_whole, update_way, upload

CUT_S = 0.7
SHARES = tuple(tenth / 10 for tenth in range(1, 10))
AFTER_ANSWER_S = 0.05
IN_FIRST_START_S = 0.6


@dataclass(frozen=True)
class _Cut:
    """When the supply is cut: after a share of the image, else after the answer, or once the unit starts again."""

    words: str
    share: float | None = None
    in_first_start: bool = False


CUTS = (
    *(_Cut(f"at {share * 100:.0f} % of the upload", share) for share in SHARES),
    _Cut("just after the answer"),
    _Cut("in the first start after it", in_first_start=True),
)


@leg(
    begins=Connected(store="bench network"),
    ends=Off(store="erased"),
    expected_s=lambda product: len(CUTS) * (UPLOAD_S / 2.0 + CUT_S + START_S) + updated_s(product) + FLASH_S,
    profile="release",
    promised=is_promised,
    switches=2 * len(CUTS) + PUT_ON_SWITCHES,
)
def update_cut(bench: Bench, product: Product) -> None:
    """Update to the build before and back, the supply cut from early to late: see each time what starts; then flash the build."""
    bench.access_point.up(bench.network)
    before = bench.previous.build if bench.previous else bench.build
    version = look(bench, product, network_door(bench, product), "before the cuts")
    for number, cut in enumerate(CUTS, 1):
        running, sent = (before, bench.build) if version == before.version else (bench.build, before)
        mark = _cut_while_updating(bench, product, number, cut, running, sent)
        back = None if mark is None else come_back(bench, product, mark, product.limits.hotspot_up_s.patience_s)
        if back is None:
            break
        version = look(bench, product, back, f"after cut {number}")
        if not back.connected:
            give_up(bench, f"the unit did not come back to its network after cut {number}")
            break
    bench.timeline.add("leg", "cuts are over")
    put_on(bench, bench.build, CUT_S)


def _cut_while_updating(
    bench: Bench, product: Product, number: int, cut: _Cut, running: Build, sent: Build
) -> int | None:
    """Send an image, cut the supply when it is time, and switch it on again; a mark from between, None where it was refused."""
    way = update_way(bench, product)
    if way is None:
        give_up(bench, "the unit's address on the bench's network is not known", bench.access_point.source)
        return None
    purpose = f"image before cut {number}"
    image = sent.for_update.content()
    off_s: list[float] = []
    octets = None if cut.share is None else round(cut.share * len(image))

    def switch_off() -> None:
        off_s.append(bench.power.off(asked_by="leg").time_s)

    if octets is not None:
        upload(bench, way, Sent(image, len(image), way.auth), purpose, until=octets, then=switch_off)
    else:
        since = bench.timeline.mark()
        if not send_whole(bench, way, sent, purpose):
            give_up(bench, f"the {purpose} was refused")
            return None
        if cut.in_first_start:
            wait_restart(bench, product, since)  # one that nobody notices is cut all the same
            bench.clock.pause(IN_FIRST_START_S)
        else:
            bench.clock.pause(AFTER_ANSWER_S)
        switch_off()
    bench.clock.pause(CUT_S)
    mark = bench.timeline.mark()
    on = bench.power.on(asked_by="leg")
    details: dict[str, Json] = {
        "number": number, "when": cut.words, "octets": octets, "of": len(image),
        "from_version": running.version, "to_version": sent.version, "off_s": off_s[0],
    }  # fmt: skip
    bench.timeline.add("leg", "updating was cut", time_s=on.time_s, details=details)
    return mark
