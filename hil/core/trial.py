"""What a run types into the unit: throw-away names and secrets (canaries), and the trial values of the product file.

Canaries are drawn anew for each run, so that evidence can be kept raw and a leak is found by searching for them.
"""

import secrets
import string
from collections.abc import Mapping
from dataclasses import dataclass, field

from hil.core.product import Product

_LETTERS = string.ascii_lowercase + string.digits


@dataclass(frozen=True)
class Trial:
    """The bench's own networks and the value for each setting, by the product file's names of settings."""

    network: str
    network_key: str
    control_network: str
    values: Mapping[str, str]
    secret_names: tuple[str, ...] = field(default=())

    @property
    def secrets(self) -> dict[str, str]:
        """The canary secrets, by setting."""
        return {name: self.values[name] for name in self.secret_names}


def draw(product: Product) -> Trial:
    """Draw the canaries of a run."""
    tag = _word(6)
    network, key = f"bench-{tag}", _word(20)
    values: dict[str, str] = {}
    for name, setting in product.form.settings.items():
        if setting.role == "network":
            values[name] = network
        elif setting.role == "network key":
            values[name] = key
        elif setting.secret:
            values[name] = _word(16)
        elif setting.canary:
            values[name] = f"{name.replace('_', '-')}-{_word(6)}"
        elif setting.trial is not None:
            values[name] = setting.trial
    hidden = tuple(name for name in values if product.form.settings[name].secret)
    return Trial(network, key, f"control-{tag}", values, hidden)


def _word(length: int) -> str:
    return "".join(secrets.choice(_LETTERS) for _ in range(length))
