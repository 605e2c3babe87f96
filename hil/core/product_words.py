"""A product file in words: what it was understood to say."""

from hil.core.form_promise import Form, Setting
from hil.core.product import Product


def describe(product: Product) -> list[str]:
    """What a product file was understood to say, a sentence a line."""
    limits = product.limits
    lines = [f"{product.name}, model {product.model}" + (f": {product.what}." if product.what else ".")]
    lines += [f"Stage {name}: lamp {stage.lamp}." for name, stage in product.stages.items()]
    lines += [f"Limit {name}: {bound.limits}." for name, bound in limits if bound]
    lines.append(
        f"Hotspot {product.hotspot.name!r}, {product.hotspot.security}"
        + (", key on the unit's label" if product.hotspot.key else "")
        + f", unit at {product.hotspot.address}"
        + (", and whatever page is asked for leads to the form." if product.hotspot.captive else ".")
    )
    if product.hotspot.names:
        lines.append("On the hotspot every name is the unit, which tells itself as router and name server.")
    if product.networks.strongest:
        lines.append("Of several networks of the saved name the unit joins the strongest.")
    lines.append(
        f"Form at {product.form.path} on the hotspot"
        + (f", at {product.form.connected_path} when connected." if product.form.connected_path else ".")
    )
    lines += _traffic(product.form)
    for name, setting in product.form.settings.items():
        how = _recognised(setting)
        shown = "never shown" if setting.secret else "shown as stored" if setting.prefilled else "not shown"
        role = f", the {setting.role}" if setting.role else ""
        takes = f", {setting}" if str(setting) else ""
        lines.append(f"Setting {name} ({setting.kind}{role}): {how}, {shown}, blank {setting.blank}{takes}.")
    lines += _of_networks(product.form)
    if product.ports is not None:
        lines.append(f"TCP ports open: {', '.join(map(str, product.ports)) or 'none'}.")
    lines += [
        f"Finding {name} accepted until {given.until} by {given.by}: {given.reason}."
        for name, given in product.accepted.items()
    ]
    lines.append(f"Status page {product.status.path}, version beside {product.status.version!r}.")
    if product.update is not None:
        user = f" by user {product.update.user!r}" if product.update.user else ""
        lines.append(f"When connected an update is posted to {product.update.path}{user} with the update key.")
    if product.restarts.spread is not None:
        lines.append(
            "Over many starts the 95th percentile of the time to an address is at most "
            f"{product.restarts.spread:g} times its median."
        )
    if product.memory.leak_octets is not None:
        lines.append(
            f"Free memory beside {product.status.free_memory!r}: each page load, aborted load and rejoin costs "
            f"{product.memory.leak_octets.limits} of it for good, over many."
        )
    voice = f"speaks at {product.console.baud} baud" if product.console.speaks else "is silent"
    lines.append(f"The console {voice}; {len(product.console.crash)} patterns mean a crash.")
    return lines


def _traffic(form: Form) -> list[str]:
    """What goes to and fro otherwise than with a form that sends itself and restarts the unit."""
    lines = []
    if form.user is not None:
        lines.append(
            f"On the hotspot its pages ask for user {form.user!r}, whose password is the key on the unit's label."
        )
    if form.request is not None:
        lines.append(f"A script sends the settings: {form.request}.")
    if form.stored is not None:
        lines.append(f"Stored values are read back at {form.stored.path}.")
    lines.append(f"After a save {form.saved}.")
    return lines


def _recognised(setting: Setting) -> str:
    """How a setting is found, on which page, and what it is picked from."""
    named = f"control {setting.control!r}" if setting.control else f"label {setting.label!r}"
    if setting.controls:
        named = f"controls {', '.join(map(repr, setting.controls))} joined by {setting.joined_by!r}"
    listed_as = f" by {setting.listed_as!r}" if setting.listed_as else ""
    said = [
        f"{named} on {setting.page}" if setting.page else named,
        f"label {setting.label!r} where stored" if setting.control and setting.label else "",
        f"picked from the list at {setting.listed_at}{listed_as}" if setting.listed_at else "",
        f"or typed into {setting.typed_in!r}" if setting.typed_in else "",
    ]
    return ", ".join(part for part in said if part)


def _of_networks(form: Form) -> list[str]:
    """Which networks the form takes, beside one that has a key and gives an address."""
    open_, fixed = form.network_values("", None), form.address_values()
    names = form.by_role("network security") or form.by_role("network key")
    said = f"A network without a key can be saved, by {names}." if open_ else "A network needs a key."
    return [said] + ([f"The address can be fixed, by {', '.join(fixed)}; blank, it is undone."] if fixed else [])
