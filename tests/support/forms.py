"""A settings page of the shipped product, made by hand."""

from html import escape

from hil.core.product import load_product
from hil.virtual import DEMO_PRODUCT
from support.records import TYPED


def form_with(**values: str) -> bytes:
    """A form that shows what was typed, and nothing of the secrets, but for these settings."""
    boxes = ""
    for name, setting in load_product(DEMO_PRODUCT).form.settings.items():
        value = values.get(name, "" if setting.secret else TYPED.get(name, setting.default or ""))
        control = setting.control or name
        label = f'<label for="{control}">{escape(setting.label)}</label>' if setting.label else ""
        boxes += f'{label}<input id="{control}" name="{control}" value="{escape(value)}">'
    return f'<!DOCTYPE html><form method="post" action="/save">{boxes}</form>'.encode()
