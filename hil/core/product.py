"""The product file, `product.toml`: what every unit of a product promises.

No code knows a product by name: lamp code, limits, hotspot, form, status page and console are said here.
"""

import re
from ipaddress import IPv4Address
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from hil.core.accepted import Acceptances
from hil.core.form_promise import Form
from hil.core.toml_file import Strict, load_toml
from hil.core.verdicts import Limits

Colour = Literal["white", "red", "amber", "yellow", "green", "blue", "dark"]
StageName = Literal["starting", "joining", "setup", "connected", "updating", "fault"]
Positive = Annotated[float, Field(gt=0.0)]
QUESTION_MARK = "QUESTION"  # of what a drafted file leaves open, in a comment beside the key
SSID_OCTETS = 32  # IEEE 802.11-2020, 9.4.2.2


class Flash(Strict):
    """One part of a lamp sequence."""

    colour: Colour
    for_s: Positive


class Lamp(Strict):
    """How the lamp looks in a stage: steady, flashing, or a sequence that repeats."""

    colour: Colour | None = None
    flash_hz: Annotated[float, Field(gt=0.0, le=20.0)] | None = None
    duty: Annotated[float, Field(gt=0.0, lt=1.0)] = 0.5
    sequence: tuple[Flash, ...] = ()

    @model_validator(mode="after")
    def _colour_or_sequence(self) -> "Lamp":
        if (self.colour is None) == (not self.sequence):
            raise ValueError("a lamp has either a colour or a sequence")
        if self.sequence and (self.flash_hz is not None or len(self.sequence) < 2):
            raise ValueError("a sequence has two parts or more, and no flash_hz")
        return self

    @property
    def fastest_hz(self) -> float:
        """The rate a camera must follow to read this lamp; 0 for a steady one."""
        if self.sequence:
            return 0.5 / min(part.for_s for part in self.sequence)
        return self.flash_hz or 0.0

    def __str__(self) -> str:
        """In words."""
        if self.sequence:
            return "sequence " + ", ".join(f"{part.colour} {part.for_s:g} s" for part in self.sequence)
        return f"{self.colour} steady" if self.flash_hz is None else f"{self.colour} flashing {self.flash_hz:g} Hz"


class Stage(Strict):
    """What is promised of a stage."""

    lamp: Lamp


class Bound(Strict):
    """Limits in seconds; at least one end."""

    lower: Annotated[float, Field(ge=0.0)] | None = None
    upper: Positive | None = None

    @model_validator(mode="after")
    def _some_end(self) -> "Bound":
        if self.lower is None and self.upper is None:
            raise ValueError("give lower, upper or both")
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError("lower must be below upper")
        return self

    @property
    def limits(self) -> Limits:
        """As the decision rule takes them."""
        return Limits(self.lower, self.upper, "s")

    @property
    def patience_s(self) -> float:
        """How long a leg watches for it: half as much again as promised. Makes no verdict."""
        return 1.5 * (self.upper or self.lower or 0.0)


class OctetsBound(Bound):
    """Limits in octets; at least one end."""

    @property
    def limits(self) -> Limits:
        """As the decision rule takes them."""
        return Limits(self.lower, self.upper, "octets")


class Memory(Strict):
    """What is promised of the free memory that the status page states."""

    leak_octets: OctetsBound | None = None
    """Free memory that each page load, each aborted load and each rejoin may cost for good, over many of them."""


class PromisedTimes(Strict):
    """Every timing the product promises, in seconds; one that is left out is not promised."""

    lamp_on_s: Bound | None = None
    joining_s: Bound | None = None
    first_hotspot_s: Bound | None = None
    gives_up_s: Bound | None = None
    hotspot_up_s: Bound
    lease_s: Bound | None = None
    first_octet_s: Bound | None = None
    first_octet_idle_s: Bound | None = None
    restart_s: Bound | None = None
    connected_s: Bound
    returns_s: Bound | None = None
    reconnects_s: Bound | None = None
    hotspot_off_s: Bound | None = None
    hidden_connected_s: Bound | None = None
    beacon_gap_s: Bound | None = None
    lookup_s: Bound | None = None
    updated_s: Bound | None = None
    answer_gap_s: Bound | None = None
    report_s: Bound | None = None


class Hotspot(Strict):
    """The unit's own network in setup."""

    name: Annotated[str, Field(min_length=1)]
    security: Literal["open", "wpa2"]
    key: Literal["label"] | None = None
    address: Annotated[str, Field(pattern=r"^\d{1,3}(\.\d{1,3}){3}$")]
    captive: bool = False
    names: bool = False
    """Whatever name is asked for on it is the unit's own address, and it tells itself as router and name server."""

    @field_validator("address")
    @classmethod
    def _is_address(cls, address: str) -> str:
        IPv4Address(address)  # a ValueError of its own: "Octet 999 (> 255) not permitted"
        return address

    @field_validator("name")
    @classmethod
    def _fits_a_beacon(cls, name: str) -> str:
        if re.search(r"\{(?!address_tail\})", name):
            raise ValueError("the only placeholder there is, is {address_tail}")
        octets = len(name.replace("{address_tail}", "0000").encode())
        if octets > SSID_OCTETS:
            raise ValueError(f"a network's name has at most {SSID_OCTETS} octets, and this one {octets}")
        return name

    @model_validator(mode="after")
    def _key_where_secured(self) -> "Hotspot":
        if (self.security == "wpa2") != (self.key is not None):
            raise ValueError('key = "label" goes with security = "wpa2", and only with it')
        return self

    def name_for(self, unit_address: str) -> str:
        """The name a unit of that radio address must use: `{address_tail}` is its last four hex digits, lower case."""
        return self.name.replace("{address_tail}", unit_address.replace(":", "").lower()[-4:])


class Networks(Strict):
    """What is promised of several networks at once."""

    strongest: bool = False
    """Of those that bear the saved name and its security the unit joins the strongest."""


class Restarts(Strict):
    """What is promised of many starts taken together, whatever began each."""

    spread: Annotated[float, Field(gt=1.0)] | None = None
    """The 95th percentile of the time to an address is at most so many times its median."""


class Update(Strict):
    """The update over the network when connected: an image is posted, its octets as the body, by a user with the update key."""

    path: Annotated[str, Field(pattern=r"^/")]
    user: str = ""


class Reports(Strict):
    """What the unit reports by HTTP when connected: the settings that say where to, how often in seconds, and with what key."""

    to: Annotated[str, Field(min_length=1)]
    every_s: Annotated[str, Field(min_length=1)]
    key: str | None = None


class StatusPage(Strict):
    """The status page: its path and the labels beside its values."""

    path: Annotated[str, Field(pattern=r"^/")]
    version: str
    address: str | None = None
    network: str | None = None
    serial_number: str | None = None
    running_for_s: str | None = None
    free_memory: str | None = None
    others: tuple[str, ...] = ()


class Console(Strict):
    """The serial console; patterns are regular expressions searched in a line."""

    baud: Annotated[int, Field(gt=0)] = 115200
    rom_baud: Annotated[int, Field(gt=0)] | None = None
    rom_speaks_s: Positive = 0.3
    speaks: bool = True
    start: str = r"rst:0x"
    crash: tuple[str, ...] = ("Traceback", "Guru Meditation", "Exception", r"abort\(\)", "wdt reset", "Brownout")
    version: str | None = None
    stages: dict[StageName, str] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _patterns(self) -> "Console":
        for pattern in (self.start, *self.crash, *self.stages.values(), *filter(None, [self.version])):
            try:
                re.compile(pattern)
            except re.error as error:
                raise ValueError(f"{pattern!r} is not a regular expression: {error}") from error
        return self


class Product(Strict):
    """A product file. `questions` are those a drafted file leaves open: with one of them it judges nothing."""

    questions: tuple[str, ...] = ()
    name: str
    model: str
    what: str = ""
    hardware_revision: str = ""
    stages: dict[StageName, Stage]
    limits: PromisedTimes
    hotspot: Hotspot
    form: Form
    status: StatusPage
    console: Console = Console()
    restarts: Restarts = Restarts()
    networks: Networks = Networks()
    update: Update | None = None
    reports: Reports | None = None
    memory: Memory = Memory()
    ports: tuple[Annotated[int, Field(ge=1, le=65535)], ...] | None = None
    accepted: Acceptances = Field(default_factory=dict)

    @field_validator("questions")
    @classmethod
    def _all_answered(cls, questions: tuple[str, ...]) -> tuple[str, ...]:
        if questions:
            raise ValueError(
                f"{len(questions)} open, the first: {questions[0]!r}; answer each beside its mark {QUESTION_MARK} in the "
                "file, then take it out of this list"
            )
        return questions

    @model_validator(mode="after")
    def _stages_the_legs_need(self) -> "Product":
        missing = [name for name in ("setup", "connected") if name not in self.stages]
        if missing:
            raise ValueError(f"stages.{missing[0]} is missing: every unit this tool judges has it")
        return self

    @model_validator(mode="after")
    def _free_memory_is_stated(self) -> "Product":
        if self.memory.leak_octets is not None and self.status.free_memory is None:
            raise ValueError("memory.leak_octets is judged by what the status page states: set status.free_memory")
        return self

    @model_validator(mode="after")
    def _restart_is_timed_where_there_is_one(self) -> "Product":
        if self.limits.restart_s is not None and not self.form.saved.restarts:
            raise ValueError(
                'limits.restart_s is the time to a restart, and with form.saved.then = "joins" there is none: leave one out'
            )
        return self

    @model_validator(mode="after")
    def _update_has_a_key(self) -> "Product":
        if self.update is not None and self.form.by_role("update key") is None:
            raise ValueError('update needs a setting with role = "update key"')
        if self.limits.updated_s is not None and self.update is None:
            raise ValueError("limits.updated_s is promised, but there is no [update]")
        return self

    @model_validator(mode="after")
    def _reports_are_settings(self) -> "Product":
        if self.reports is None:
            if self.limits.report_s is not None:
                raise ValueError("limits.report_s is promised, but there is no [reports]")
            return self
        named = {"to": self.reports.to, "every_s": self.reports.every_s, "key": self.reports.key}
        for key, setting in named.items():
            if setting is not None and setting not in self.form.settings:
                raise ValueError(f"reports.{key} = {setting!r} is no setting of the form")
        return self

    @model_validator(mode="after")
    def _stages_look_different(self) -> "Product":
        owner: dict[object, str] = {}
        for name, stage in self.stages.items():
            lamp = stage.lamp
            look = (lamp.colour, lamp.flash_hz, lamp.duty if lamp.flash_hz else None, lamp.sequence)
            other = owner.setdefault(look, name)
            if other != name:
                raise ValueError(
                    f"stages.{other} and stages.{name} have the same lamp ({lamp}): nobody could tell them apart"
                )
        return self

    @property
    def fastest_flash_hz(self) -> float:
        """The fastest lamp change the camera must follow."""
        return max(stage.lamp.fastest_hz for stage in self.stages.values())


def load_product(path: Path) -> Product:
    """Read a product file.

    Raises:
        InputError: it is missing or wrong; the message names file, key and remedy.
    """
    return load_toml(path, Product, "product file")
