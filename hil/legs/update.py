"""The update over the network: from the build before and on again, and of images that must be refused."""

import secrets
from urllib.parse import urljoin

from hil.core.build import Build
from hil.core.product import Product
from hil.core.stages import Anywhere, Connected, Off
from hil.instruments.bench import Bench
from hil.legs.door import (
    Door,
    book_save,
    come_back,
    come_back_after_save,
    doubt_store,
    fill_in,
    hotspot_door,
    network_door,
    other_value,
    refused,
    restart_patience_s,
    wait_restart,
)
from hil.legs.leg import leg
from hil.legs.moves import give_up, unit_address, watch_stay
from hil.legs.start import DARK_S, put_on
from hil.legs.uploading import Sent, UpdateWay, send_whole, update_way, upload
from hil.page.images import ONWARD, RANDOM_OCTETS, UPDATE, WITH_WRONG_KEY, WITHOUT_KEY, bad_images
from hil.page.page import value_of
from hil.page.read import read_page

FLASH_S = 8.0
SET_UP_S = 14.0
OFF_S = 0.5
UPLOAD_S, START_S = 3.0, 4.0  # as most units take; no source
STAY_S = 2.0  # a second restart, or another round of an update that loops, begins in this time
PREVIOUS_WRITTEN = "previous written"


def is_promised(product: Product) -> bool:
    """Whether the product has an update over the network."""
    return product.update is not None


def updated_s(product: Product) -> float:
    """How long an update takes, as most units do."""
    return UPLOAD_S + START_S + ((product.limits.restart_s.upper or 0.0) / 2.0 if product.limits.restart_s else 0.0)


@leg(
    begins=Anywhere(),
    ends=Off(store="erased"),
    expected_s=lambda product: 2.0 * FLASH_S + SET_UP_S + 2.0 * (updated_s(product) + STAY_S),
    profile="release",
    promised=is_promised,
    switches=7,
)
def update_from_previous(bench: Bench, product: Product) -> None:
    """Put the build before on, set it up, update it to the build over the network and on again; then flash the build."""
    before = bench.previous.build if bench.previous else bench.build
    if put_on(bench, before, DARK_S, PREVIOUS_WRITTEN) and _set_up(bench, product):
        updated = _update(bench, product, UPDATE, before, bench.build)
        if updated:
            _update(bench, product, ONWARD, bench.build, before)
    put_on(bench, bench.build, OFF_S)


def _set_up(bench: Bench, product: Product) -> bool:
    """Start for the first time, type everything in through the hotspot and save it; whether the unit came to its network."""
    bench.access_point.up(bench.network)
    bench.power.on(asked_by="leg")
    promise = product.limits.first_hotspot_s or product.limits.hotspot_up_s
    bench.air.watch(product.hotspot.name_for(bench.label.address), limit_s=promise.patience_s)
    door = hotspot_door(bench, product)
    request = fill_in(bench, product, door.look("form of the build before"), bench.trial.values) if door else None
    if door is None or request is None:
        return False
    mark = book_save(bench, "setting up", bench.trial.values)
    if refused(door.send(request, "setting up")):
        give_up(bench, "the build before refused its settings")
        return False
    back = come_back_after_save(bench, product, door, mark)
    if back is None or not back.connected:
        give_up(bench, "the build before did not come to its network once it was set up")
        return False
    return True


def _update(bench: Bench, product: Product, purpose: str, running: Build, sent: Build) -> bool:
    """Update over the network, see what is held before and after, and stay for a while; whether it came back connected."""
    door, way = network_door(bench, product), update_way(bench, product)
    if way is None:
        give_up(bench, "the unit's address on the bench's network is not known", bench.access_point.source)
        return False
    look(bench, product, door, f"before the {purpose}")
    bench.timeline.add("leg", "updates", purpose=purpose, from_version=running.version, to_version=sent.version)
    mark = bench.timeline.mark()
    if not send_whole(bench, way, sent, purpose):
        give_up(bench, f"the {purpose} was refused")
        return False
    back = come_back_updated(bench, product, mark)
    if back is not None:
        if back.connected:
            watch_stay(bench, STAY_S)
        look(bench, product, back, f"after the {purpose}")
        if not back.connected:
            give_up(bench, f"the unit did not come back to its network after the {purpose}")
    bench.timeline.add("leg", "update is over", purpose=purpose)
    return back is not None and back.connected


def come_back_updated(bench: Bench, product: Product, since: int) -> Door | None:
    """Wait for the unit after an image was sent, on the bench's network or on its hotspot; None where it is on neither."""
    limit_s = restart_patience_s(product) + product.limits.hotspot_up_s.patience_s
    return come_back(bench, product, since, limit_s)


def look(bench: Bench, product: Product, door: Door | None, when: str) -> str:
    """Fetch the settings, where they can be had, and the status page; the version that this states, empty where it does not."""
    if door is not None:
        door.look(f"settings {when}")
        visitor, url = door.visitor, urljoin(door.url, product.status.path)
    else:
        address = unit_address(bench)
        visitor, url = bench.visits.at(bench.access_point.lease_of_bench()), f"http://{address}{product.status.path}"
    answer = visitor.get(url, f"status {when}")
    return value_of(read_page(answer.body, answer.content_type, answer.url), product.status.version) or ""


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=lambda _product: 2.0 * UPLOAD_S + STAY_S,
    profile="release",
    promised=is_promised,
)
def update_refused(bench: Bench, product: Product) -> None:
    """Send an image without the right to, and images that are none: each must be refused, and the unit runs on."""
    bench.access_point.up(bench.network)
    door, way = network_door(bench, product), update_way(bench, product)
    if way is None:
        give_up(bench, "the unit's address on the bench's network is not known", bench.access_point.source)
        return
    look(bench, product, door, "before the bad updates")
    image = bench.build.for_update.content()  # where a wrong key is taken, the build under test still runs
    wrong_key = (way.auth[0], other_value(way.auth[1]))
    tries = {
        WITHOUT_KEY: Sent(image, len(image), None),
        WITH_WRONG_KEY: Sent(image, len(image), wrong_key),
        **{
            purpose: Sent(bad.octets, bad.stated, way.auth)
            for purpose, bad in bad_images(image, secrets.token_bytes(RANDOM_OCTETS)).items()
        },
    }
    for purpose, body in tries.items():
        mark = bench.timeline.mark()
        if refused(upload(bench, way, body, purpose)):
            continue
        came_back = _after_a_bad_one(bench, product, mark)
        if came_back is None:
            doubt_store(bench, f"the {purpose} was not refused, and the unit did not come back")
            return
        way = came_back
    watch_stay(bench, STAY_S)  # a restart that came for one of them would begin in this time
    look(bench, product, network_door(bench, product), "after the bad updates")


def _after_a_bad_one(bench: Bench, product: Product, since: int) -> UpdateWay | None:
    """The way to a unit that did not refuse an image, after the restart if there is one; None where it is gone."""
    if not wait_restart(bench, product, since):
        return update_way(bench, product)
    back = come_back_updated(bench, product, since)
    return update_way(bench, product) if back is not None and back.connected else None
