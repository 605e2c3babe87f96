"""Stages of a unit, and the settings store it holds: what legs begin from and end in.

A leg is declared from one `Situation` to another: `Off(store="erased")` to `Setup()`. A store of None means "as it was":
as the end of a leg it keeps the store of the beginning; as the beginning it accepts any. `Anywhere()` accepts any stage.
"""

from dataclasses import dataclass

STORES = ("unknown", "erased", "defaults", "bench network")


@dataclass(frozen=True, slots=True)
class Situation:
    """A stage and a store."""

    stage: str
    store: str | None = None

    def __post_init__(self) -> None:
        """Refuse a store that no leg could know."""
        if self.store is not None and self.store not in STORES:
            raise ValueError(f"no store is called {self.store!r}: use one of {', '.join(STORES)}")

    def accepts(self, other: "Situation") -> bool:
        """Whether a unit in situation `other` is fit for a leg that begins here."""
        stage_fits = self.stage in ("anywhere", other.stage)
        return stage_fits and self.store in (None, other.store)

    def after(self, begin: "Situation") -> "Situation":
        """The end of a leg that began in `begin`, with "as it was" filled in."""
        return Situation(
            begin.stage if self.stage == "anywhere" else self.stage, begin.store if self.store is None else self.store
        )

    def __str__(self) -> str:
        """As a route shows it: `setup (defaults)`."""
        return f"{self.stage} ({self.store})" if self.store else self.stage


def Anywhere(store: str | None = None) -> Situation:  # noqa: N802 — reads as a situation in a declaration
    """Any stage."""
    return Situation("anywhere", store)


def Off(store: str | None = None) -> Situation:  # noqa: N802
    """No supply."""
    return Situation("off", store)


def Setup(store: str | None = None) -> Situation:  # noqa: N802
    """The setup hotspot is on the air."""
    return Situation("setup", store)


def Connected(store: str | None = None) -> Situation:  # noqa: N802
    """Joined to the saved network, with an address."""
    return Situation("connected", store)


def Unknown(store: str | None = "unknown") -> Situation:  # noqa: N802
    """What the witnesses could not confirm."""
    return Situation("unknown", store)
