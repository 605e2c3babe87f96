"""What the product file says of the setup form: where it is, its settings, and how each is recognised and kept."""

import re
from typing import Annotated, Literal

from pydantic import Field, model_validator

from hil.core.toml_file import Strict


class Setting(Strict):
    """One setting of the form: how its control is recognised, and what to do with it.

    `trial` is typed in the test; `canary` draws a throw-away value instead. `role` ties a setting to the bench.
    `longest` (octets) is taken, one more is refused; `trims` allows blanks at the ends to be dropped; `refuses` is a
    regular expression of texts that are refused with a message; `hex_key` promises 64 hexadecimal digits as network key.
    """

    control: str | None = None
    label: str | None = None
    kind: Literal["text", "number", "address", "secret"] = "text"
    role: Literal["network", "network key", "update key"] | None = None
    unit: str = ""
    prefilled: bool = True
    default: str | None = None
    trial: str | None = None
    canary: bool = False
    blank: Literal["keeps", "clears", "refused"] = "clears"
    longest: Annotated[int, Field(gt=0)] | None = None
    trims: bool = False
    refuses: str = ""
    hex_key: bool = False

    @model_validator(mode="after")
    def _recognisable(self) -> "Setting":
        if (self.control is None) == (self.label is None):
            raise ValueError("say how the control is recognised: control (its name) or label (its text), one of them")
        if self.kind == "secret" and self.prefilled:
            raise ValueError("a secret must not be pre-filled: set prefilled = false")
        return self

    @model_validator(mode="after")
    def _contract(self) -> "Setting":
        if self.hex_key and self.role != "network key":
            raise ValueError('hex_key goes with role = "network key"')
        try:
            re.compile(self.refuses)
        except re.error as error:
            raise ValueError(f"refuses: {self.refuses!r} is not a regular expression: {error}") from error
        return self

    def may_refuse(self, text: str) -> bool:
        """Whether the product file says that this text is refused with a message."""
        too_long = self.longest is not None and len(text.encode()) > self.longest
        return too_long or bool(self.refuses and re.search(self.refuses, text))

    def __str__(self) -> str:
        """What it takes, in words; empty where the product file does not say."""
        said = [
            f"at most {self.longest} octets" if self.longest is not None else "",
            "blanks at the ends dropped" if self.trims else "",
            f"refuses {self.refuses!r}" if self.refuses else "",
            "takes 64 hexadecimal digits" if self.hex_key else "",
        ]
        return ", ".join(part for part in said if part)

    @property
    def secret(self) -> bool:
        """Whether the value must never be shown."""
        return self.kind == "secret"


class Form(Strict):
    """The setup form."""

    path: Annotated[str, Field(pattern=r"^/")]
    connected_path: Annotated[str, Field(pattern=r"^/")] | None = None
    connected_user: str = ""
    settings: dict[str, Setting]

    @model_validator(mode="after")
    def _has_network(self) -> "Form":
        roles = [s.role for s in self.settings.values() if s.role]
        if "network" not in roles or "network key" not in roles:
            raise ValueError('one setting needs role = "network" and one role = "network key"')
        if len(roles) != len(set(roles)):
            raise ValueError("each role goes to one setting")
        return self

    @model_validator(mode="after")
    def _each_its_own_control(self) -> "Form":
        owner: dict[tuple[str | None, str | None], str] = {}
        for name, setting in self.settings.items():
            other = owner.setdefault((setting.control, setting.label), name)
            if other != name:
                raise ValueError(f"settings.{other} and settings.{name} are recognised by the same control")
        return self

    def by_role(self, role: str) -> str | None:
        """The name of the setting that has a role."""
        return next((name for name, setting in self.settings.items() if setting.role == role), None)

    @property
    def text_to_change(self) -> str | None:
        """The name of a setting that takes throw-away texts and shows what it holds, if there is one."""
        fit = (name for name, s in self.settings.items() if s.canary and s.prefilled and s.role is None)
        return next(fit, None)
