"""Words of the sheet: text of others made safe, facts as rows, and the sentences that stand on every sheet."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from hil.core.moments import Json
from hil.core.text import printable
from hil.judge.rules import RULE

NOT_STATED = "not stated"
LONGEST = 600  # characters of one text on a sheet; the whole of it is in the run's folder
SHORT_DIGEST = 12
LEAST_SECRET = 8  # shorter values would be found in innocent text
_DIGEST = re.compile(r"[0-9a-fA-F]{40,128}")
_SECRET = re.compile(r"\bkeys?\b|secret|password|passphrase", re.IGNORECASE)
_KNOWN_LABELS = {"sha256": "SHA-256", "file sha256": "file SHA-256", "file sha": "file SHA-256", "sha-256": "SHA-256"}

DECISION_RULE = (
    f"{RULE} What is undecided has its leg driven again as often as was fixed beforehand; every take counts, and what is "
    "still undecided is unjudged, which is no pass. In the terms of ILAC-G8:09/2019, 4.2.2: before a pass a guard band "
    "w = U is kept inside the limit, U being the doubt of the reading itself; before a fail the same band is kept "
    "outside it."
)
SCOPE = "This sheet speaks of this unit only."


@dataclass(frozen=True, slots=True)
class Row:
    """A labelled statement; a digest comes in `groups` of eight digits, so that it can be read and compared."""

    label: str
    value: str
    groups: tuple[str, ...] = ()


@dataclass(frozen=True)
class Wording:
    """Makes text of others fit for the sheet: control characters shown, length bounded, canary secrets by their names."""

    canaries: Mapping[str, str] = field(default_factory=dict)  # value → name

    def plain(self, text: str) -> str:
        """A text of the unit, a file or a check, as one line."""
        for value, name in self.canaries.items():
            text = text.replace(value, f"[canary: {name}]")
        shown = printable(text)
        return shown if len(shown) <= LONGEST else f"{shown[:LONGEST]} … ({len(shown) - LONGEST} characters more)"

    def value(self, value: Json) -> str:
        """Any fact in words."""
        if value is None or value == "":
            return NOT_STATED
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, float):
            return f"{value:.6g}"
        if isinstance(value, list):
            return ", ".join(self.value(part) for part in value)
        if isinstance(value, dict):
            rows = (self.row(key, part) for key, part in value.items())
            return "; ".join(f"{row.label}: {row.value}" for row in rows)
        return self.plain(str(value))

    def row(self, label: str, value: Json, *, short: bool = False) -> Row:
        """A labelled fact; what is named like a secret is withheld."""
        shown_label = label_words(self.plain(label))
        if _SECRET.search(shown_label) and isinstance(value, str) and value:
            return Row(shown_label, "withheld")
        text = self.value(value)
        if not _DIGEST.fullmatch(text):
            return Row(shown_label, text)
        if short:
            return Row(shown_label, f"{text[:SHORT_DIGEST]}…")
        return Row(shown_label, text, tuple(text[at : at + 8] for at in range(0, len(text), 8)))


def wording_for(facts: Mapping[str, Mapping[str, Json]]) -> Wording:
    """The wording of a run: it knows the run's canary secrets, whose values no sheet shows."""
    trial = facts.get("trial", {})
    values, names = trial.get("values"), trial.get("secret_names")
    secrets: list[tuple[str, Json]] = [*facts.get("canaries", {}).items(), ("network key", trial.get("network_key"))]
    if isinstance(values, dict) and isinstance(names, list):
        secrets += [(name, values.get(name)) for name in names if isinstance(name, str)]
    long = {v: label.replace("_", " ") for label, v in secrets if isinstance(v, str) and len(v) >= LEAST_SECRET}
    return Wording(long)


def label_words(label: str) -> str:
    """A label as people write it: `sha256` becomes `SHA-256`, underscores become spaces."""
    words = label.replace("_", " ").strip()
    known = _KNOWN_LABELS.get(words.lower(), words)
    return sentence(known)


def leg_title(name: str) -> str:
    """A leg's name as a heading: `saved_network_absent[wrong key]` → `Saved network absent (wrong key)`."""
    words = re.sub(r"\[(.*)\]$", r" (\1)", name).replace("_", " ").strip()
    return sentence(words)


def sentence(words: str) -> str:
    """With a capital at its head."""
    return words[:1].upper() + words[1:]


def clock_time(iso: str) -> str:
    """A time as written in `run.json`, with its zone; one that is no time stays as it is."""
    try:
        when = datetime.fromisoformat(iso)
    except ValueError:
        return iso or NOT_STATED
    zone = when.strftime("%z")
    shown = f"{zone[:3]}:{zone[3:5]}" if zone else "zone not stated"
    return f"{when:%Y-%m-%d %H:%M:%S} {'UTC' if shown == '+00:00' else shown}"
