"""What the product file says of the setup form: where it is, its settings, and how each is recognised and kept."""

import re
from typing import Annotated, Literal

from pydantic import Field, model_validator

from hil.core.form_exchange import AfterSaving, PathOnUnit, ScriptRequest, StoredAt
from hil.core.toml_file import Strict

Role = Literal["network", "network key", "network security", "fixed address", "netmask", "gateway", "update key"]
ADDRESS_ROLES: tuple[Role, ...] = ("fixed address", "netmask", "gateway")
"""Settings of these three go together: filled in, the unit takes that address; blank, it asks the network for one."""

UNSPLIT_ROLES = ("network", "network key", "update key")


class Setting(Strict):
    """One setting of the form: how its control is recognised, and what to do with it.

    `trial` is typed in the test; `canary` draws a throw-away value instead. `role` ties a setting to the bench.
    `longest` (octets) is taken, one more is refused; `trims` allows blanks at the ends to be dropped; `refuses` is a
    regular expression of texts that are refused with a message; `hex_key` promises 64 hexadecimal digits as network key.
    `without_key` is what a setting of the role "network security" takes for a network that needs no key, `with_key` for
    one that does (for a checkbox: its own value, and nothing).

    `page` is another page than the form's own. `controls` spread one value over several, cut at `joined_by`; `control` is
    then what they are called together. Of the network, `listed_at` is a JSON list to pick from that arrives later (of names,
    or of objects whose key `listed_as` is the name), and `typed_in` the control for a name that is not offered.
    """

    control: str | None = None
    label: str | None = None
    kind: Literal["text", "number", "address", "secret"] = "text"
    role: Role | None = None
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
    without_key: str | None = None
    with_key: str = ""
    page: PathOnUnit | None = None
    controls: tuple[str, ...] = ()
    joined_by: str = ""
    listed_at: PathOnUnit | None = None
    listed_as: str = ""
    typed_in: str | None = None

    @model_validator(mode="before")
    @classmethod
    def _several_have_one_name(cls, given: object) -> object:
        """Call several controls, together, by their names joined: so everything else finds them as it finds one."""
        names = given.get("controls") if isinstance(given, dict) else None
        if not isinstance(given, dict) or not names or not isinstance(names, list | tuple):
            return given
        together = str(given.get("joined_by", "")).join(map(str, names))
        if given.get("control", together) != together:
            raise ValueError("control is one control and controls are several: give one of them")
        return {**given, "control": together}

    @model_validator(mode="after")
    def _recognisable(self) -> "Setting":
        if self.control is None and self.label is None:
            raise ValueError("say how the control is recognised: control (its name) or label (its text), one of them")
        if self.kind == "secret" and self.prefilled:
            raise ValueError("a secret must not be pre-filled: set prefilled = false")
        return self

    @model_validator(mode="after")
    def _contract(self) -> "Setting":
        if self.hex_key and self.role != "network key":
            raise ValueError('hex_key goes with role = "network key"')
        if (self.without_key is not None) != (self.role == "network security"):
            raise ValueError('without_key goes with role = "network security", and only with it')
        if self.role in ADDRESS_ROLES and self.blank != "clears":
            raise ValueError(f'a {self.role} is undone by a blank: leave blank = "clears"')
        try:
            re.compile(self.refuses)
        except re.error as error:
            raise ValueError(f"refuses: {self.refuses!r} is not a regular expression: {error}") from error
        return self

    @model_validator(mode="after")
    def _spread(self) -> "Setting":
        if not self.controls:
            if self.joined_by:
                raise ValueError("joined_by goes with controls: the names of those the value is spread over")
            return self
        if len(self.controls) < 2 or not self.joined_by:
            raise ValueError('controls are two or more, and joined_by is what stands between their texts, such as "."')
        if self.canary or self.secret or self.role in UNSPLIT_ROLES:
            raise ValueError(f"a throw-away text cannot be cut at {self.joined_by!r}: controls go with a trial value")
        for name, value in (("trial", self.trial), ("default", self.default)):
            if value and self.spread(value) is None:
                raise ValueError(
                    f"{name} = {value!r} does not fall into {len(self.controls)} parts at {self.joined_by!r}"
                )
        return self

    @model_validator(mode="after")
    def _of_the_network(self) -> "Setting":
        if self.role != "network" and (self.listed_at is not None or self.typed_in is not None):
            raise ValueError('listed_at and typed_in go with role = "network", and only with it')
        if self.listed_as and self.listed_at is None:
            raise ValueError("listed_as goes with listed_at: the list whose key it is")
        return self

    def spread(self, value: str) -> dict[str, str] | None:
        """What goes into each of several controls; None where the value does not fall into as many parts."""
        parts = value.split(self.joined_by) if value else [""] * len(self.controls)
        return dict(zip(self.controls, parts, strict=True)) if len(parts) == len(self.controls) else None

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
            f"{self.without_key!r} for a network without key" if self.without_key is not None else "",
        ]
        return ", ".join(part for part in said if part)

    @property
    def secret(self) -> bool:
        """Whether the value must never be shown."""
        return self.kind == "secret"


class Form(Strict):
    """The setup form.

    With `user` the hotspot's pages ask for a password, which is the `key`. Pages, `request` and `stored` beside the form's
    own path are at the same paths when connected.
    """

    path: PathOnUnit
    connected_path: PathOnUnit | None = None
    connected_user: str = ""
    user: str | None = None
    key: Literal["label"] | None = None
    request: ScriptRequest | None = None
    stored: StoredAt | None = None
    saved: AfterSaving = AfterSaving()
    settings: dict[str, Setting]

    @model_validator(mode="after")
    def _has_network(self) -> "Form":
        roles = [s.role for s in self.settings.values() if s.role]
        if "network" not in roles or "network key" not in roles:
            raise ValueError('one setting needs role = "network" and one role = "network key"')
        if len(roles) != len(set(roles)):
            raise ValueError("each role goes to one setting")
        missing = [role for role in ADDRESS_ROLES if role not in roles]
        if missing and len(missing) < len(ADDRESS_ROLES):
            raise ValueError(
                f'a fixed address takes three settings: one needs role = "{missing[0]}", or none of them has one'
            )
        return self

    @model_validator(mode="after")
    def _each_its_own_control(self) -> "Form":
        owner: dict[tuple[str | None, ...], str] = {}
        for name, setting in self.settings.items():
            how = (setting.page, setting.control, None if setting.control else setting.label)
            other = owner.setdefault(how, name)
            if other != name:
                raise ValueError(f"settings.{other} and settings.{name} are recognised by the same control")
        return self

    @model_validator(mode="after")
    def _key_goes_with_user(self) -> "Form":
        if self.key is not None and self.user is None:
            raise ValueError("key goes with user: whom the hotspot's pages ask for a password")
        return self

    @model_validator(mode="after")
    def _label_beside_control(self) -> "Form":
        for name, setting in self.settings.items():
            if setting.control is not None and setting.label is not None and self.stored is None:
                raise ValueError(
                    f"settings.{name} has control and label: the label beside a control is that of form.stored, so add it, "
                    "or give one of them"
                )
        return self

    @model_validator(mode="after")
    def _script_needs_names(self) -> "Form":
        if self.request is None:
            return self
        names = {name: setting.control for name, setting in self.settings.items()}
        unnamed = next((name for name, control in names.items() if control is None), None)
        if unnamed is not None:
            raise ValueError(f"settings.{unnamed} needs control: it is the key under which form.request sends it")
        paged = next((name for name, setting in self.settings.items() if setting.page), None)
        if paged is not None:
            raise ValueError(
                f"settings.{paged}.page goes with forms of the pages' own: form.request sends everything at once"
            )
        sent = {key for s in self.settings.values() for key in (s.controls or [s.control or ""])}
        inner = next(((a, b) for a in sorted(sent) for b in sorted(sent) if b.startswith(f"{a}.")), None)
        if inner is not None:
            raise ValueError(f"the key {inner[0]!r} of form.request cannot hold {inner[1]!r}: it is a value itself")
        return self

    @property
    def beside(self) -> tuple[str, ...]:
        """The paths that are read beside the form's own, in order: further pages, stored values, the list of networks."""
        settings = self.settings.values()
        paths = [*(s.page for s in settings), self.stored and self.stored.path, *(s.listed_at for s in settings)]
        return tuple(dict.fromkeys(path for path in paths if path and path != self.path))

    @property
    def pages(self) -> tuple[str, ...]:
        """The paths of pages with settings beside the form's own, in order."""
        return tuple(dict.fromkeys(s.page for s in self.settings.values() if s.page and s.page != self.path))

    @property
    def is_one_page(self) -> bool:
        """Whether one page holds everything and sends it as it stands."""
        odd = any(s.controls or s.typed_in for s in self.settings.values())
        return not (self.beside or self.request or self.stored or odd)

    def told_at(self, setting: Setting) -> tuple[str, ...]:
        """The paths beside the form's own at which a setting is found, and at which its value is."""
        stored = self.stored.path if self.stored else None
        return tuple(path for path in self.beside if path in (setting.page, stored))

    def by_role(self, role: str) -> str | None:
        """The name of the setting that has a role."""
        return next((name for name, setting in self.settings.items() if setting.role == role), None)

    def network_values(self, name: str, key: str | None) -> dict[str, str]:
        """What to type for a network, by setting; nothing where it has no key (None) and the form cannot be told so."""
        values = {self.by_role("network") or "": name, self.by_role("network key") or "": key or ""}
        security = self.by_role("network security")
        if security is not None:
            setting = self.settings[security]
            return {**values, security: setting.with_key if key is not None else setting.without_key or ""}
        says_nothing = self.settings[self.by_role("network key") or ""].blank != "clears"
        return {} if key is None and says_nothing else values

    def address_values(self, *texts: str) -> dict[str, str]:
        """What to type for address, netmask and gateway (nothing: blanks), by setting; nothing where it has no fixed address."""
        names = [name for role in ADDRESS_ROLES if (name := self.by_role(role)) is not None]
        return dict(zip(names, texts or ("",) * len(names), strict=True)) if names else {}

    @property
    def text_to_change(self) -> str | None:
        """The name of a setting that takes throw-away texts and shows what it holds, if there is one."""
        fit = (name for name, s in self.settings.items() if s.canary and s.prefilled and s.role is None)
        return next(fit, None)
