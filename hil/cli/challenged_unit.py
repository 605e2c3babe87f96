"""One unit whose right verdict is known: its build, its run in a process of its own, and what the run came to."""

import signal
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hil.core.errors import InputError
from hil.core.run_folder import RunFolder, RunInfo
from hil.core.verdicts import EXIT_CODES, Verdict, verdict_of
from hil.judge.challenged import Challenged, Driven
from hil.judge.signature import Difference, ExpectedVerdict, SeenVerdict, differences, seen_verdicts
from hil.sheet.wording import Wording, wording_for
from hil.virtual.build import make_build
from hil.virtual.patches import load_patch, patch_names, patch_sum

GOOD_UNIT = "good"
GOOD_WHY = "The reference firmware as it is."
RUN_LIMIT_REAL_S, RUN_LIMIT_UNIT_S = 120.0, 3600.0  # several times what a run takes
SLOWEST_USUAL = 1.0
WIND_UP_S = 20.0


@dataclass(frozen=True, slots=True)
class KnownUnit:
    """A unit and its signature; a golden one has none. `speed` is the fastest at which the bench can decide it.

    `legs` are driven beside those of the checks in its signature; `patch_sha256` is its patch file's. `runs` is how often
    it is driven: several times where its fault comes in some runs only. `build` is its build file, where it has one of its
    own rather than a patch of the demo's firmware; `worn_flash_at` where its flash is bad (see `VirtualSettings`).
    """

    name: str
    patch: str | None
    why: str
    expected: tuple[ExpectedVerdict, ...]
    speed: float | None
    legs: tuple[str, ...] = ()
    patch_sha256: str = ""
    runs: int = 1
    build: str = ""
    worn_flash_at: int | None = None

    @property
    def golden(self) -> bool:
        """Whether its right verdict is a pass."""
        return not self.expected

    def speed_for(self, asked: float | None) -> float | None:
        """The speed to drive it at; None for the bench's usual one."""
        given = [speed for speed in (self.speed, asked) if speed is not None]
        return min(given) if given else None

    def without_run(self, trouble: str) -> Challenged:
        """What it came to where there is no run, and why there is none."""
        return Challenged(self.name, self.golden, None, self.why, self.expected, trouble=trouble)


def known_units(names: Sequence[str] = ()) -> list[KnownUnit]:
    """The units of those names, in order; all there are where none is named.

    Raises:
        InputError: no unit is called so.
    """
    known = (GOOD_UNIT, *patch_names())
    for name in names:
        if name not in known:
            raise InputError("unit", f"{name!r} is not known.", f"Choose from: {', '.join(known)}.")
    return [_unit(name) for name in known if not names or name in names]


def _unit(name: str) -> KnownUnit:
    if name == GOOD_UNIT:
        return KnownUnit(name, None, GOOD_WHY, (), None)
    patch = load_patch(name)
    expected = tuple(ExpectedVerdict(e.check, Verdict(e.verdict), e.reading, e.says) for e in patch.expect)
    return KnownUnit(
        name,
        name,
        patch.why,
        expected,
        patch.speed,
        patch.legs,
        patch_sum(name),
        patch.runs,
        worn_flash_at=patch.worn_flash_at,
    )


class UnitRun:
    """The run of one unit, in a process of its own."""

    def __init__(self, unit: KnownUnit, folder: Path, options: Sequence[str], speed: float | None) -> None:
        """Make the build in `folder` and begin the run, which lands beside it; `options` say what is driven."""
        self.unit = unit
        self._folder, self._speed = folder, speed
        self._limit_s = RUN_LIMIT_REAL_S + RUN_LIMIT_UNIT_S / (speed or SLOWEST_USUAL)
        folder.mkdir(parents=True, exist_ok=True)
        build = unit.build or make_build(folder / "build", patch=unit.patch)
        arguments = ["accept", *options, "--build", str(build), "--reports", str(folder / "run")]
        arguments += ["--speed", f"{speed:g}"] if speed is not None else []
        arguments += ["--bench", str(_worn_bench(folder, unit.worn_flash_at))] if unit.worn_flash_at is not None else []
        command = [sys.executable, "-c", "from hil.cli.main import main; main()", *arguments]
        with (folder / "words.txt").open("wb") as words:
            # A session of its own: an interrupt reaches it once, from `interrupt`.
            self._process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=words, stderr=subprocess.STDOUT, start_new_session=True
            )

    def interrupt(self) -> None:
        """Have the run wind up."""
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGINT)

    def outcome(self) -> Challenged:
        """Wait for its end and say what it came to."""
        try:
            code = self._process.wait(self._limit_s)
        except subprocess.TimeoutExpired:
            self._stop()
            return self.unit.without_run(f"no end within {self._limit_s:.0f} s")
        return self._read(code)

    def _stop(self) -> None:
        self.interrupt()
        try:
            self._process.wait(WIND_UP_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def _read(self, code: int) -> Challenged:
        runs = [file.parent for file in (self._folder / "run").glob("*/run.json")]
        if len(runs) != 1:
            return self.unit.without_run(Wording().plain(f"no run; exit code {code}: {self._words}"))
        folder = RunFolder(runs[0])
        info, seen = folder.read_info(), seen_verdicts(folder.read_moments())
        verdict, whole = verdict_of(v.verdict for v in seen), info.complete and not info.broken
        if verdict is Verdict.PASS and not whole:
            verdict = Verdict.UNJUDGED
        trouble = info.broken
        if not trouble and (not whole or code != EXIT_CODES[verdict]):
            trouble = f"exit code {code}: {self._words}"
        unit, wording = self.unit, wording_for(info.facts)
        return Challenged(
            name=unit.name,
            golden=unit.golden,
            verdict=verdict,
            why=unit.why,
            expected=unit.expected,
            seen=tuple(_shown(one, wording) for one in seen),
            differences=tuple(
                _shown_difference(one, wording) for one in differences(unit.expected, seen, sometimes=unit.runs > 1)
            ),
            trouble=wording.plain(trouble),
            driven=self._driven(runs[0], info),
        )

    def _driven(self, run: Path, info: RunInfo) -> Driven:
        digest = info.facts.get("build", {}).get("sha256")
        return Driven(
            folder=run.relative_to(self._folder.parent).as_posix(),
            began=info.began,
            ended=info.ended,
            build_sha256=digest if isinstance(digest, str) else "",
            speed=self._speed,
            unit_time_s=info.legs[-1].end_s - info.legs[0].begin_s if info.legs else 0.0,
            legs=tuple(f"{leg.name}[{leg.parameter}]" if leg.parameter else leg.name for leg in info.legs),
        )

    @property
    def _words(self) -> str:
        """The last line the run said."""
        lines = (self._folder / "words.txt").read_text(encoding="utf-8", errors="replace").split("\n")
        return next((line for line in reversed(lines) if line.strip()), "it said nothing")


def _worn_bench(folder: Path, at: int) -> Path:
    """Write the file of a virtual bench that holds a unit with a worn flash."""
    file = folder / "bench.toml"
    text = f'name = "the virtual bench, with a unit whose flash is worn"\nkind = "virtual"\n\n[virtual]\nworn_flash_at = {at}\n'
    file.write_text(text, encoding="utf-8")
    return file


def _shown(seen: SeenVerdict, wording: Wording) -> SeenVerdict:
    """With what the unit said made harmless, and canary secrets by their names."""
    readings = tuple(replace(reading, promised=wording.plain(reading.promised)) for reading in seen.readings)
    return SeenVerdict(seen.check, seen.verdict, wording.plain(seen.reason), readings)


def _shown_difference(difference: Difference, wording: Wording) -> Difference:
    return replace(difference, says=wording.plain(difference.says))
