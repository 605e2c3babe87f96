"""What checks expect a form to show."""

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence


def shipped_values(product: Product) -> dict[str, str]:
    """Values of settings whose default the product file states."""
    return {
        name: setting.default
        for name, setting in product.form.settings.items()
        if setting.default is not None and not setting.secret
    }


def saved_values(evidence: LegEvidence, product: Product) -> dict[str, str]:
    """Values that were typed and must be shown again."""
    return {
        name: value
        for name, value in evidence.typed.items()
        if product.form.settings[name].prefilled and not product.form.settings[name].secret
    }


def hidden_values(product: Product) -> dict[str, str]:
    """Secrets show nothing."""
    return {name: "" for name, setting in product.form.settings.items() if setting.secret}
