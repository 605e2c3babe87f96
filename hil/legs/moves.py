"""Moves that legs share: into the hotspot, to a page, to the bench's network. Each books where it had to give up."""

from hil.core.errors import BenchError
from hil.core.product import Product
from hil.core.timeline import Expired, Match
from hil.instruments.bench import Bench
from hil.instruments.stations import Lease
from hil.instruments.visits import Credentials, Visitor

JOIN_LIMIT_S = 15.0
CUT_S = 1.0
STEADY_S = 2.0  # so long a lamp must stay lit before anyone can call it steady
SETTLE_S = 0.5  # common practice, no source


def give_up(bench: Bench, why: str, instrument: str = "") -> None:
    """Book that a leg ends here, and for want of what; where it is an instrument that is gone, which."""
    bench.timeline.add("leg", "gave up", why=why, instrument=instrument)


def hotspot_url(product: Product, path: str) -> str:
    """A page of the unit on its hotspot."""
    return f"http://{product.hotspot.address}{path}"


def enter_hotspot(bench: Bench, product: Product) -> Visitor | None:
    """Join the unit's hotspot with the probe; tried whatever the air monitor heard, since it may be deaf."""
    name = product.hotspot.name_for(bench.label.address)
    key = bench.label.hotspot_key if product.hotspot.key else None
    try:
        lease = bench.probe.join(name, key, JOIN_LIMIT_S)
    except BenchError as error:
        give_up(bench, error.problem, bench.probe.source)
        return None
    if lease is None:
        give_up(bench, f"the probe could not join {name!r}")
        return None
    return bench.visits.at(lease, hotspot_credentials(bench, product))


def hotspot_credentials(bench: Bench, product: Product) -> Credentials | None:
    """User and password for the pages on the hotspot, where the product has them: the password is the label's key."""
    return None if product.form.user is None else (product.form.user, bench.label.hotspot_key)


def unit_addressed(bench: Bench) -> Match:
    """Whether a moment is that of the access point giving the unit an address, or of the unit announcing its own."""
    address, told = bench.label.address.lower(), ("leased", "announced")
    return lambda m: m.source == "access point" and m.kind in told and m.text("address").lower() == address


def from_unit(bench: Bench, *kinds: str) -> Match:
    """Whether a moment is a frame of one of those kinds that the unit's station sent."""
    address = bench.label.address.lower()
    return lambda moment: moment.source == "air" and moment.kind in kinds and moment.text("from").lower() == address


def unit_address(bench: Bench) -> str | None:
    """The address the unit had last on the bench's network."""
    addressed = unit_addressed(bench)
    return next((moment.text("ip") for moment in reversed(bench.timeline.since()) if addressed(moment)), None)


def cut_supply(bench: Bench) -> int:
    """Switch the supply off, and on again after a second; a mark on the timeline from between the two."""
    bench.power.off(asked_by="leg")
    bench.clock.pause(CUT_S)
    mark = bench.timeline.mark()
    bench.power.on(asked_by="leg")
    return mark


def wait_connected(bench: Bench, limit_s: float, since: int, bssid: str | None = None) -> str | None:
    """Wait until the unit has an address, which is returned; since a mark on the timeline, of two networks by the one meant."""
    addressed = unit_addressed(bench)
    seen = bench.timeline.wait(
        lambda moment: addressed(moment) and bssid in (None, moment.text("bssid")),
        limit_s=limit_s,
        awaited="the unit's address on the bench's network",
        since=since,
    )
    if isinstance(seen, Expired):
        _give_up_waiting(bench, str(seen))
        return None
    settle(bench)
    return seen.text("ip")


def settle(bench: Bench) -> None:
    """Wait a little: the access point knows of an address before the unit's own program does, which may be asked next."""
    bench.clock.pause(SETTLE_S)


def _give_up_waiting(bench: Bench, why: str) -> None:
    """A unit cannot join an access point that is gone."""
    try:
        bench.access_point.ask_status()
    except BenchError as error:
        give_up(bench, f"{error.problem} The bench {why}", bench.access_point.source)
    else:
        give_up(bench, why)


def watch_stay(bench: Bench, for_s: float) -> None:
    """Watch that the unit stays joined for a while; a farewell ends the watch early."""
    address = bench.label.address.lower()
    bench.timeline.wait(
        lambda m: m.is_("access point", "left") and m.text("address").lower() == address,
        limit_s=for_s,
        awaited="nothing: the unit should stay joined",
    )


def status_page(bench: Bench, product: Product, address: str, purpose: str) -> None:
    """Fetch the status page over the bench's network."""
    lease: Lease = bench.access_point.lease_of_bench()
    bench.visits.at(lease).get(f"http://{address}{product.status.path}", purpose)


def update_credentials(bench: Bench, product: Product) -> Credentials | None:
    """User and update key for the form when connected, where the product has one."""
    name = product.form.by_role("update key")
    if name is None:
        return None
    return product.form.connected_user, bench.trial.values[name]
