"""The hotspot of a unit as its beacon tells it: its name's pattern, its security."""

from pydantic import ValidationError

from hil.core.moments import Moment
from hil.core.product import Hotspot
from hil.drive.draft.draft import Draft

TAIL_DIGITS = 4  # of the unit's address, as `{address_tail}` means it
UNKNOWN_ADDRESS = "192.0.2.1"  # until the probe has a lease there


def tell_hotspot(draft: Draft, beacon: Moment, unit_address: str) -> None:
    """Take name and security from a beacon of the unit."""
    name, security = beacon.text("name"), beacon.text("security")
    pattern = name_pattern(name, unit_address)
    secured = security != "open"
    try:
        draft.hotspot = Hotspot.model_validate(
            {"name": pattern, "security": "wpa2" if secured else "open", "address": UNKNOWN_ADDRESS}
            | ({"key": "label"} if secured else {})
        )
    except ValidationError:
        draft.stopped = f"the hotspot's name {name!r} is one that a product file cannot say"
        return
    draft.note("hotspot.name", f"seen {name!r}, unit {unit_address}")
    if pattern == name:
        draft.ask("hotspot.name", "has every unit this name? Nothing of the unit's address was recognised in it")
    if security not in ("open", "wpa2", "wpa2 and wpa3"):
        draft.ask("hotspot.security", f"the beacon announces {security!r}, which a product file cannot say")
    if beacon.text("from").lower() != unit_address.lower():
        draft.note("hotspot.name", f"its beacons come from {beacon.text('from')}")


def name_pattern(name: str, unit_address: str) -> str:
    """The name with the tail of the unit's address as a placeholder, where it stands in it once."""
    tail = unit_address.replace(":", "").lower()[-TAIL_DIGITS:]
    return name.replace(tail, "{address_tail}") if name.count(tail) == 1 else name
