"""What is known so far of a product nobody described yet, and the product file's promises that it makes for driving on."""

from dataclasses import dataclass, field

from hil.core.form_promise import Form, Setting
from hil.core.product import Bound, Console, Flash, Hotspot, Lamp, Product, PromisedTimes, Stage, StageName, StatusPage
from hil.page.recognise import Recognised

PATIENCE_S = 60.0  # for a hotspot or a lease nobody promised a time for; what a product needs is below that
FASTEST_FLASH_HZ = 2.8  # the upper end of IEC 60073's normal flash: what the camera must follow at least
# Lamps no product has stand for the two stages a product file must have, until they are seen.
_UNSEEN: dict[StageName, Lamp] = {
    "setup": Lamp(sequence=(Flash(colour="red", for_s=0.7), Flash(colour="green", for_s=1.7), Flash(colour="blue", for_s=0.9))),
    "connected": Lamp(colour="red", flash_hz=FASTEST_FLASH_HZ),
}  # fmt: skip


@dataclass(frozen=True)
class Question:
    """What a person must say, and the key it is about."""

    key: str
    text: str


@dataclass(frozen=True)
class Proposal:
    """A limit with what it was taken from, in words."""

    bound: Bound
    seen: str


@dataclass
class Draft:
    """A product file in the making. `stopped` says why the unit came no further, where it did not."""

    seen_on: str = ""
    hotspot: Hotspot | None = None
    title: str = ""
    stages: dict[StageName, Lamp] = field(default_factory=dict)
    limits: dict[str, Proposal] = field(default_factory=dict)
    form_path: str = "/"
    connected_path: str | None = None
    settings: list[Recognised] = field(default_factory=list)
    status: StatusPage | None = None
    console: Console = field(default_factory=Console)
    notes: dict[str, list[str]] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    stopped: str = ""

    def ask(self, key: str, text: str) -> None:
        """Leave a question open."""
        self.questions.append(Question(key, text))

    def note(self, key: str, text: str) -> None:
        """Say what was seen of a key."""
        self.notes.setdefault(key, []).append(text)

    @property
    def by_name(self) -> dict[str, Setting]:
        """The settings as a product file holds them."""
        return {found.name: found.setting for found in self.settings}

    @property
    def has_roles(self) -> bool:
        """Whether it is known where network and key are typed."""
        return {"network", "network key"} <= {setting.role for setting in self.by_name.values()}


def driven_as(draft: Draft) -> Product:
    """The product a unit is driven as while its own is unknown: what is known, and stand-ins with long patience."""
    stand_ins = {name: lamp for name, lamp in _UNSEEN.items() if name not in draft.stages}
    patience = Bound(upper=PATIENCE_S / 1.5)  # legs wait half as much again
    return Product(
        name="being drafted",
        model="being drafted",
        stages={name: Stage(lamp=lamp) for name, lamp in (draft.stages | stand_ins).items()},
        limits=PromisedTimes(hotspot_up_s=patience, connected_s=patience),
        hotspot=draft.hotspot or Hotspot(name="unknown", security="open", address="192.0.2.1"),
        form=Form(
            path=draft.form_path,
            connected_path=draft.connected_path,
            settings=draft.by_name if draft.has_roles else _STAND_IN_SETTINGS,
        ),
        status=draft.status or StatusPage(path="/", version="Version"),
        console=draft.console,
    )


_STAND_IN_SETTINGS = {
    "network": Setting(control="network", role="network"),
    "network_key": Setting(control="network_key", role="network key", kind="secret", prefilled=False),
}
