"""A run's folder under `reports/`: where a run's evidence lands, and how it is read again.

    run.json         what, when, which build, unit, bench, product file and tool; the legs with begin and end
    product.toml     the product file as it was; bench.toml and colours.json (of the bench, where it has one) likewise
    timeline.jsonl   one moment a line, written as it happens
    console.raw      every byte of the console, untouched
    lamp/            per-frame pixel statistics and lossless crops
    air.pcapng       the frames heard
    pages/           each response
    junit.xml, allure-results/, sheet.html, sheet.pdf
    readings.json   what each verdict rests on, to be held against other limits
    sums.json        SHA-256 of each file, written last

A run killed at any point leaves a readable folder: `run.json` then still says `complete: false`.
"""

import hashlib
import json
from dataclasses import asdict, dataclass, field
from pathlib import Path

from hil.core.errors import InputError
from hil.core.frames import LampFrames, read_frames
from hil.core.moments import Json, Moment


@dataclass(slots=True)
class LegRecord:
    """One drive of one leg: its window on the timeline, where it began and what the witnesses confirmed at its end."""

    name: str
    parameter: str
    take: int
    begin_s: float
    end_s: float
    begins: str
    ends: str
    confirmed: str
    expected_s: float
    bridge: bool


@dataclass(slots=True)
class RunInfo:
    """What `run.json` says. `facts` holds what the sheet states in words (unit, build, bench, canaries and the like).

    `verdict` is the one given on the day; a run that was killed has none, and one judged again keeps it.
    """

    sheet_number: str
    began: str
    tool_version: str
    wanted: list[str]
    partial: bool
    profile: str = "release"
    ended: str = ""
    complete: bool = False
    broken: str = ""
    verdict: str = ""
    facts: dict[str, dict[str, Json]] = field(default_factory=dict)
    legs: list[LegRecord] = field(default_factory=list)


class RunFolder:
    """Paths of a run folder, and its record."""

    def __init__(self, path: Path) -> None:
        """Name a folder; nothing is made or read yet."""
        self.path = path

    def make(self) -> "RunFolder":
        """Make the folder and those within it."""
        for folder in (self.path, self.lamp, self.pages):
            folder.mkdir(parents=True, exist_ok=True)
        return self

    @property
    def timeline(self) -> Path:
        """One moment a line."""
        return self.path / "timeline.jsonl"

    @property
    def console(self) -> Path:
        """Every byte of the console."""
        return self.path / "console.raw"

    @property
    def lamp(self) -> Path:
        """Frames of the lamp camera."""
        return self.path / "lamp"

    @property
    def air(self) -> Path:
        """Frames heard."""
        return self.path / "air.pcapng"

    @property
    def pages(self) -> Path:
        """Responses."""
        return self.path / "pages"

    @property
    def product_file(self) -> Path:
        """The product file the run was driven with."""
        return self.path / "product.toml"

    @property
    def colours_file(self) -> Path:
        """The colours that the bench's camera had learnt, where it had."""
        return self.path / "colours.json"

    def write_info(self, info: RunInfo) -> None:
        """Write `run.json`, whole or not at all."""
        new = self.path / "run.json.new"
        new.write_text(json.dumps(asdict(info), indent=1, ensure_ascii=False), encoding="utf-8")
        new.replace(self.path / "run.json")

    def forget_info(self) -> None:
        """Take `run.json` away: no run began here."""
        (self.path / "run.json").unlink(missing_ok=True)

    def read_info(self) -> RunInfo:
        """Read `run.json`.

        Raises:
            InputError: this is not the folder of a run.
        """
        file = self.path / "run.json"
        try:
            raw = json.loads(file.read_text(encoding="utf-8"))
            legs = [LegRecord(**leg) for leg in raw.pop("legs")]
            return RunInfo(**raw, legs=legs)
        except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
            raise InputError(
                str(file), f"not the record of a run: {error}.", "Name a folder under reports/."
            ) from error

    def read_moments(self) -> tuple[Moment, ...]:
        """All whole moments; a torn last line of a killed run is left out."""
        if not self.timeline.exists():
            return ()
        moments = []
        # Not splitlines: a unit may say what that takes for the end of a line (U+2028, U+0085).
        for line in self.timeline.read_text(encoding="utf-8", errors="replace").split("\n"):
            try:
                moments.append(Moment.from_line(line))
            except ValueError:
                continue
        return tuple(moments)

    def read_frames(self) -> LampFrames:
        """All whole frames of the lamp camera."""
        return read_frames(self.lamp)

    def read_console(self) -> bytes:
        """Every byte of the console."""
        return self.console.read_bytes() if self.console.exists() else b""

    def read_page(self, name: str) -> bytes:
        """One response; nothing where it is gone."""
        file = self.pages / name
        return file.read_bytes() if file.is_file() else b""

    def write_sums(self) -> None:
        """Write the SHA-256 of each file, last of all."""
        sums = {
            str(file.relative_to(self.path)): hashlib.sha256(file.read_bytes()).hexdigest()
            for file in sorted(self.path.rglob("*"))
            if file.is_file() and file.name != "sums.json"
        }
        (self.path / "sums.json").write_text(json.dumps(sums, indent=1), encoding="utf-8")
