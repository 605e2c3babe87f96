"""What a unit shows before and after an update, made by hand for the shipped product."""

from hil.core.product import load_product
from hil.virtual import DEMO_PRODUCT
from support.records import TYPED

OLD, NEW = "1.3.9", "1.4.0"
SAVED = {name: value for name, value in TYPED.items() if not load_product(DEMO_PRODUCT).form.settings[name].secret}


def status_with(version: str) -> bytes:
    """A status page of the shipped product."""
    return f"<!DOCTYPE html><dl><dt>Version</dt><dd>{version}</dd></dl>".encode()
