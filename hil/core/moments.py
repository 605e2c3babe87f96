"""A moment: one thing one instrument saw, with its time and the time's doubt."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from pydantic_core import from_json  # reads a timeline in a third of the time that json takes

Json: TypeAlias = "str | int | float | bool | list[Json] | dict[str, Json] | None"


@dataclass(frozen=True, slots=True)
class Moment:
    """What `source` saw: `kind` in a word or two, details in `data`.

    `time_s` is in unit seconds on the run's clock; `doubt_s` is the half-width at 95 %.
    """

    time_s: float
    doubt_s: float
    source: str
    kind: str
    data: Mapping[str, Json] = field(default_factory=dict)

    def is_(self, source: str, kind: str) -> bool:
        """Whether this is that kind of moment."""
        return self.source == source and self.kind == kind

    def text(self, key: str, default: str = "") -> str:
        """A detail as text."""
        value = self.data.get(key, default)
        return value if isinstance(value, str) else json.dumps(value)

    def number(self, key: str, default: float = float("nan")) -> float:
        """A detail as a number; `default` where it is missing or none."""
        value = self.data.get(key)
        return float(value) if isinstance(value, int | float) else default

    def to_line(self) -> str:
        """One line of `timeline.jsonl`, without its end."""
        head: dict[str, Json] = {
            "t": round(self.time_s, 6),
            "doubt": round(self.doubt_s, 6),
            "source": self.source,
            "kind": self.kind,
        }
        return json.dumps(head | dict(self.data), ensure_ascii=False)

    @classmethod
    def from_line(cls, line: str) -> "Moment":
        """Read a line that `to_line` wrote.

        Raises:
            ValueError: the line is not one of ours (a torn last line of a killed run, say).
        """
        try:
            raw = from_json(line, cache_strings="keys")
            return cls(
                time_s=float(raw.pop("t")),
                doubt_s=float(raw.pop("doubt")),
                source=str(raw.pop("source")),
                kind=str(raw.pop("kind")),
                data=raw,
            )
        except (KeyError, TypeError, AttributeError) as error:
            raise ValueError(f"not a moment: {line[:80]!r}") from error
