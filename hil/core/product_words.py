"""A product file in words: what it was understood to say."""

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
    lines.append(
        f"Form at {product.form.path} on the hotspot"
        + (f", at {product.form.connected_path} when connected." if product.form.connected_path else ".")
    )
    for name, setting in product.form.settings.items():
        how = f"control {setting.control!r}" if setting.control else f"label {setting.label!r}"
        shown = "never shown" if setting.secret else "shown as stored" if setting.prefilled else "not shown"
        role = f", the {setting.role}" if setting.role else ""
        takes = f", {setting}" if str(setting) else ""
        lines.append(f"Setting {name} ({setting.kind}{role}): {how}, {shown}, blank {setting.blank}{takes}.")
    if product.ports is not None:
        lines.append(f"TCP ports open: {', '.join(map(str, product.ports)) or 'none'}.")
    lines += [
        f"Finding {name} accepted until {given.until} by {given.by}: {given.reason}."
        for name, given in product.accepted.items()
    ]
    lines.append(f"Status page {product.status.path}, version beside {product.status.version!r}.")
    if product.restarts.spread is not None:
        lines.append(
            "Over many starts the 95th percentile of the time to an address is at most "
            f"{product.restarts.spread:g} times its median."
        )
    voice = f"speaks at {product.console.baud} baud" if product.console.speaks else "is silent"
    lines.append(f"The console {voice}; {len(product.console.crash)} patterns mean a crash.")
    return lines
