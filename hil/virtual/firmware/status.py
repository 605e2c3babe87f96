"""The status page: what the unit does now."""

import chip
import radio
import stages
import version
from markup import escape, page


def rows(unit):
    """Return the names and texts of the status page, in order."""
    connected = unit.stages.now == stages.CONNECTED
    return (
        ("Vent position", unit.vent.position),
        ("Last report", unit.last_report),
        ("Signal", _signal() if connected else "none"),
        ("Version", version.VERSION),
        ("Serial number", chip.serial()),
        ("Network", unit.store.values["network"] or "none"),
        ("Address", unit.address or "none"),
        ("Running for", "%d s" % (chip.awake_ms() // 1000)),
        ("Free memory", "%d octets" % chip.free_memory()),
    )


def _signal():
    dbm = radio.signal()
    return "none" if dbm is None else "%d dBm" % dbm


def show(unit):
    """Return the status page."""
    items = "".join("<dt>%s</dt><dd>%s</dd>\n" % (escape(name), escape(text)) for name, text in rows(unit))
    title = "%s now" % unit.store.values["unit_name"]
    return page(title, "<dl>\n%s</dl>\n" % items)
