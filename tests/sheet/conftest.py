"""A plausible run of a Mossgate MV-2, made up: what the sheet's tests are shown.

Nothing here is a measurement. Six legs, some thirty checks of every verdict, beacons, console lines and camera crops.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from hil.core.frames import FrameWriter
from hil.core.moments import Json, Moment
from hil.core.product import Product
from hil.core.readings import Reading
from hil.core.run_folder import LegRecord, RunFolder, RunInfo
from hil.core.verdicts import Finding, Limits, Verdict
from hil.evidence.window import Record
from hil.judge.results import CheckResult, run_verdict

LEG_PLAN = [
    ("first_start_after_erase", "off (erased)", "setup (defaults)", 0.0, 22.0),
    ("settings_filled_and_saved", "setup (defaults)", "connected (bench network)", 22.0, 61.0),
    ("power_cut_when_connected", "connected (bench network)", "connected (bench network)", 61.0, 84.0),
    ("saved_network_absent", "off (bench network)", "setup (bench network)", 84.0, 131.0),
    ("saved_network_absent", "off (bench network)", "setup (bench network)", 131.0, 178.0),
    ("wrong_network_key", "setup (bench network)", "setup (bench network)", 178.0, 229.0),
    ("update_over_the_air", "connected (bench network)", "connected (bench network)", 229.0, 262.0),
]
DIGEST = "3fa94c1be07d5526a8e10b9cd4417f6258b3de90417ac2ef6d05b8813e5f7a04"
LAMP = {  # what the lamp shows from a time on: colour (blue, green, red) and flash rate, after the product's code
    0.0: ((0, 0, 0), 0.0), 1.0: ((235, 240, 240), 0.6), 5.0: ((250, 60, 20), 0.0), 40.0: ((0, 0, 0), 0.0),
    41.0: ((235, 240, 240), 0.6), 46.0: ((40, 225, 30), 0.0), 70.0: ((0, 0, 0), 0.0), 71.0: ((235, 240, 240), 0.6),
    76.0: ((40, 225, 30), 0.0), 84.0: ((0, 0, 0), 0.0), 87.4: ((235, 240, 240), 0.6), 112.0: ((250, 60, 20), 0.0),
    131.0: ((0, 0, 0), 0.0), 132.0: ((235, 240, 240), 0.6), 160.0: ((250, 60, 20), 0.0), 200.0: ((30, 20, 240), 2.0),
    210.0: ((250, 60, 20), 0.0), 229.0: ((40, 225, 30), 0.0), 240.0: ((235, 240, 240), 2.0), 250.0: ((40, 225, 30), 0.0),
}  # fmt: skip


@dataclass(frozen=True)
class Run:
    """What `write_outputs` takes."""

    folder: RunFolder
    info: RunInfo
    product: Product
    results: tuple[CheckResult, ...]
    moments: tuple[Moment, ...]

    @property
    def record(self) -> Record:
        """As views of evidence read it."""
        run = self.folder
        return Record(self.product, self.info.facts, self.moments, run.read_frames, run.read_page, run.read_console)

    @property
    def verdict(self) -> Verdict:
        """The run's."""
        return run_verdict(self.results)


def mossgate() -> Product:
    """The product, with no more than the sheet reads."""
    lamp = {"setup": {"lamp": {"colour": "blue"}}, "connected": {"lamp": {"colour": "green"}}}
    form = {
        "path": "/",
        "settings": {
            "network": {"control": "net", "role": "network"},
            "network_key": {"control": "key", "role": "network key", "kind": "secret", "prefilled": False},
        },
    }
    return Product.model_validate(
        {
            "name": "Mossgate MV-2",
            "model": "MV-2",
            "what": "greenhouse vent node",
            "hardware_revision": "C",
            "stages": lamp,
            "limits": {"hotspot_up_s": {"upper": 30.0}, "connected_s": {"upper": 12.0}},
            "hotspot": {
                "name": "mossgate-{address_tail}",
                "security": "wpa2",
                "key": "label",
                "address": "203.0.113.1",
            },
            "form": form,
            "status": {"path": "/now", "version": "Version"},
        }
    )


def facts() -> dict[str, dict[str, Json]]:
    """What a runner states."""
    return {
        "unit": {"serial number": "MV2-0418-00731", "radio address": "02:4d:56:00:a7:31", "hotspot key": "label-key-731"},
        "build": {"version": "2.4.1", "version witnessed": "2.4.1, read on the status page at 47.3 s", "sha256": DIGEST},
        "product": {"file": "mossgate-mv2.toml", "sha256": DIGEST[::-1]},
        "bench": {"name": "bench 3, room B", "kind": "virtual", "slot": "1", "speed": 4.0, "interpreter": "micropython",
                  "file": "bench.toml", "file sha256": DIGEST[7:] + DIGEST[:7]},
        "surroundings": {"operator": "R. Okafor", "supply": "5.0 V", "ambient": "", "order": "PO-11872", "lot": "0418"},
        "instruments": {
            "console": "RFC 2217 port; self-check good; opened without a reset",
            "power": "switch; self-check good; state read back 512 times, longest gap 0.7 s",
            "access point": "self-check good; status answered 498 times, longest gap 0.8 s",
            "probe": "self-check good; joined by key 3 times",
            "lamp camera": "30 frames/s; self-check good; bench lamp followed 402 of 402 changes; delay 0.12 ± 0.02 s",
            "air monitor": "channels 1, 6, 11; self-check good; control network heard throughout but 203.4 to 207.9 s",
            "flasher": "self-check good; image read back and compared",
        },
        "trial": {"network": "bench-9f2", "control_network": "control-9f2", "control_channels": [1], "values": {}},
        "canaries": {"network key": "zk3v9q0canary77", "report key": "pp41x8canary90"},
        "route": {"unit time": "262 s", "lower bound": "248 s"},
        "calibration of the camera": {"white balance": "fixed", "exposure": "8 ms"},
    }  # fmt: skip


def _info() -> RunInfo:
    takes: dict[str, int] = {}
    legs = []
    for name, begins, ends, begin_s, end_s in LEG_PLAN:
        takes[name] = takes.get(name, 0) + 1
        confirmed = ends.split(" (", maxsplit=1)[0]
        legs.append(LegRecord(name, "", takes[name], begin_s, end_s, begins, ends, confirmed, end_s - begin_s, False))
    return RunInfo(
        sheet_number="MV2-0418-00731-003",
        began="2026-03-14T09:12:31+01:00",
        ended="2026-03-14T09:13:58+01:00",
        tool_version="0.1.0 (a41c9e2)",
        wanted=[],
        partial=False,
        complete=True,
        facts=facts(),
        legs=legs,
    )


def timed(promised: str, value: float, doubt: float, limits: Limits, at_s: float) -> Finding:
    """A finding on a reading, with the verdict its interval asks for."""
    reading = Reading.of(value, doubt, limits.unit)
    above = limits.upper is not None and reading.low > limits.upper
    below = limits.lower is not None and reading.high < limits.lower
    inside = (limits.upper is None or reading.high <= limits.upper) and (
        limits.lower is None or reading.low >= limits.lower
    )
    verdict = Verdict.FAIL if above or below else Verdict.PASS if inside else Verdict.UNJUDGED
    return Finding(verdict, promised, str(reading), reading, limits, at_s, retakable=verdict is Verdict.UNJUDGED)


FIRST, SAVED, CUT, ABSENT, _, WRONG_KEY, UPDATE = (name for name, *_ in LEG_PLAN)
TIMINGS = [
    ("lamp_on", "The lamp lights soon after power on", FIRST, "lamp, power", 0.62, 0.11, (None, 1.0)),
    ("first_hotspot", "The hotspot opens in time after an erase", FIRST, "air, power", 5.02, 0.15, (None, 6.0)),
    ("lease", "A lease is given in time", SAVED, "probe", 1.31, 0.04, (None, 5.0)),
    ("first_octet", "The form answers in time", SAVED, "pages", 0.18, 0.02, (None, 1.0)),
    ("restart", "Saving restarts the unit in time", SAVED, "air, pages", 2.9, 0.15, (None, 4.0)),
    ("connected", "The unit connects in time after a restart", SAVED, "access point", 5.86, 0.21, (None, 12.0)),
    ("connects_again", "The unit connects again after a power cut", CUT, "access point", 6.4, 0.2, (None, 12.0)),
    ("gives_up", "The unit gives up joining in time", ABSENT, "air", 24.31, 0.31, (22.5, 25.5)),
]
PROMISES = [
    ("no_crash_first", "Nothing crashes at the first start", FIRST, "console", "no crash text", "412 lines, none"),
    ("hotspot_name", "The hotspot has the unit's own name", FIRST, "air", "network mossgate-a731", "mossgate-a731"),
    ("hotspot_secured", "The hotspot is secured", FIRST, "air", "WPA2", "WPA2 in 171 beacons of 171"),
    ("form_fields", "The form has every setting", SAVED, "pages", "9 settings of the product file", "9 controls"),
    ("secret_not_shown", "No secret is shown in the form", SAVED, "pages", "no secret shown", "14 responses, none"),
    ("settings_kept", "Settings are kept over a power cut", CUT, "pages", "all values as typed", "9 of 9 as typed"),
    ("no_leak_air", "No secret goes on the air in clear", ABSENT, "air", "no canary in a frame", "3122 frames, none"),
    ("resets_asked", "Every restart was asked for", ABSENT, "console", "no unasked start", "2 starts, both by power"),
    ("form_opens_again", "The form is reachable after a wrong key", WRONG_KEY, "pages", "answers 200", "answers 200"),
    ("update_kept", "Settings are kept over an update", UPDATE, "pages", "all values as typed", "9 of 9 as typed"),
    ("version_seen", "The new version runs after an update", UPDATE, "pages", "version 2.4.1", "2.4.1 on the page"),
]


def _passed() -> list[CheckResult]:
    """Checks every good unit passes."""
    results = []
    for key, title, leg, witnesses, value, doubt, (lower, upper) in TIMINGS:
        finding = timed(title.lower(), value, doubt, Limits(lower, upper, "s"), 10.0)
        name = f"test_times.py::test_{key}"
        results.append(CheckResult(name, f"{title}.", (leg,), (witnesses,), Verdict.PASS, (finding,)))
    for key, title, leg, witnesses, promised, seen in PROMISES:
        finding = Finding(Verdict.PASS, promised, seen)
        name = f"test_promises.py::test_{key}"
        results.append(CheckResult(name, f"{title}.", (leg,), (witnesses,), Verdict.PASS, (finding,)))
    limits = Limits(None, 30.0, "s")
    takes = tuple(
        timed("power on to hotspot", value, 0.15, limits, at) for value, at in ((28.4, 112.4), (28.61, 159.6))
    )
    title, name = "The hotspot opens in time when the network is absent.", "test_hotspot.py::test_hotspot_opens_in_time"
    return [*results, CheckResult(name, title, (ABSENT,), ("air", "power"), Verdict.PASS, takes, takes=2)]


def not_applicable() -> CheckResult:
    """A check the product promises nothing for."""
    return CheckResult("test_lamp.py::test_lamp_in_fault", "The lamp shows a fault.", ("wrong_network_key",), ("lamp",),
                       Verdict.NOT_APPLICABLE, reason="the product file promises no lamp for the stage fault")  # fmt: skip


def _bad() -> list[CheckResult]:
    """One check of each way not to pass, and one straddling."""
    late = timed("save to restart, wrong key", 31.02, 0.15, Limits(None, 30.0, "s"), 209.8)
    shown = Finding(Verdict.FAIL, "lamp blue steady in setup", "lamp red flashing 2.0 Hz for 9.9 s", at_s=201.3)
    near = timed("network lost to joining", 3.02, 0.11, Limits(None, 3.0, "s"), 190.0)
    key = "wrong_network_key"
    return [
        CheckResult("test_wrong_key.py::test_hotspot_returns", "The hotspot returns after a wrong key.", (key,),
                    ("air", "lamp"), Verdict.FAIL, (late, shown), reason="31.02 ± 0.15 s, above 30 s; lamp red"),
        CheckResult("test_wrong_key.py::test_farewell", "The unit says farewell to its stations.", (key,), ("air",),
                    Verdict.UNJUDGED, (Finding(Verdict.UNJUDGED, "a farewell frame", "none heard", at_s=205.0),),
                    reason="air monitor deaf from 203.4 to 207.9 s"),
        CheckResult("test_wrong_key.py::test_joining_shown", "Joining is shown in time.", (key,), ("lamp",),
                    Verdict.UNJUDGED, (near,), reason="the reading straddles its limit after 2 takes", takes=2),
        CheckResult("test_update.py::test_update_with_wrong_key", "An update with a wrong key is refused.",
                    ("update_refused",), ("pages",), Verdict.NOT_REACHED,
                    reason="the unit never came to connected, where the leg update refused begins"),
    ]  # fmt: skip


POWER = [(0.2, "on"), (70.0, "off"), (70.6, "on"), (84.0, "off"), (87.0, "on"), (131.0, "off"), (131.6, "on")]
STATIONS = [
    (8.0, "probe", "joined"), (9.3, "probe", "leased"), (46.0, "access point", "joined"),
    (46.4, "access point", "leased"), (76.5, "access point", "joined"), (84.2, "access point", "down"),
    (10.0, "pages", "answered"), (14.0, "pages", "answered"), (34.0, "pages", "answered"), (48.0, "pages", "answered"),
    (225.0, "pages", "silent"), (230.0, "access point", "up"), (232.0, "access point", "joined"),
    (255.0, "pages", "answered"), (262.0, "bench lamp", "gone"),
]  # fmt: skip
SAID = [
    *((t + 0.1, "rst:0x1 (POWERON_RESET),boot:0x13") for t, kind in POWER if kind == "on"),
    (200.4, "E (200390) net: wrong key, reason 15"),
    (209.1, "I (209080) net: hotspot up, key zk3v9q0canary77"),
    (240.2, "rst:0xc (SW_CPU_RESET),boot:0x13"),
]


SWITCHED_S = np.cumsum(np.random.default_rng(3).uniform(0.35, 0.75, 480))  # the bench's own lamp, on first


def _beacons(name: str, begin_s: float, end_s: float) -> list[Moment]:
    times = np.arange(begin_s, end_s, 0.1024).tolist()
    return [Moment(t, 0.01, "air", "beacon", {"name": name, "channel": 1, "tsf": int(t * 1e6)}) for t in times]


def _controls() -> list[Moment]:
    """Controls of all witnesses, good throughout but for the air monitor's, whose beacons are left out above."""
    every = np.arange(0.0, 262.0, 0.5).tolist()
    switched = SWITCHED_S[SWITCHED_S < 262.0].tolist()
    return [
        *(Moment(t, 0.01, "power", "state", {"on": True}) for t in every if not 84.0 < t < 87.0),
        *(Moment(t, 0.01, "power", "state", {"on": False}) for t in every if 84.0 < t < 87.0),
        *(Moment(t, 0.01, "access point", "answering") for t in every),
        *(Moment(t, 0.002, "bench lamp", "switched", {"on": at % 2 == 0}) for at, t in enumerate(switched)),
        Moment(0.0, 0.0, "console", "opened"),
    ]


def _moments() -> tuple[Moment, ...]:
    moments = [Moment(t, 0.02, "power", kind, {"asked_by": "leg"}) for t, kind in POWER]
    for begin, end in ((5.2, 40.0), (112.4, 131.0), (159.6, 200.0), (209.8, 229.0)):
        moments += _beacons("mossgate-a731", begin, end)
    moments += _beacons("control-9f2", 0.0, 203.4) + _beacons("control-9f2", 207.9, 262.0)
    chatter = [(float(t), f"I ({int(t * 1000)}) vent: position 40 %") for t in np.arange(1.0, 262.0, 0.8)]
    moments += [Moment(t, 0.05, "console", "line", {"text": text}) for t, text in [*chatter, *SAID]]
    moments += [Moment(t, 0.05, source, kind) for t, source, kind in STATIONS] + _controls()
    return tuple(sorted(moments, key=lambda m: m.time_s))


def _write_frames(folder: RunFolder) -> None:
    """Crops of a lamp on a dark board: a glowing disc with a halo, and the bench's lamp in its rhythm."""
    writer = FrameWriter(folder.lamp)
    y, x = np.mgrid[-1:1:32j, -1:1:32j]
    glow = np.clip(1.6 * np.exp(-3.2 * (x**2 + y**2)), 0.0, 1.0)[..., None]
    noise = np.random.default_rng(7).normal(0.0, 3.0, (8, 32, 32, 3))
    begins = sorted(LAMP)
    for count, time_s in enumerate(np.arange(0.0, 262.0, 0.175)):
        begin = max(b for b in begins if b <= time_s)
        colour, flash_hz = LAMP[begin]
        lit = flash_hz == 0.0 or ((time_s - begin) * flash_hz) % 1.0 < 0.5
        unit = np.array([34, 44, 30]) + glow * np.array(colour) * float(lit) + noise[count % 8]
        bench = np.array([34, 44, 30]) + glow * np.array([40, 160, 230]) * float(
            np.searchsorted(SWITCHED_S, time_s - 0.12) % 2 == 1
        )
        writer.add(float(time_s), np.clip(unit, 0, 255).astype(np.uint8), np.clip(bench, 0, 255).astype(np.uint8))
    writer.close()


def make_run(path: Path, *, good: bool) -> Run:
    """Make a run folder of a good unit, or of one with a check of every verdict."""
    folder = RunFolder(path).make()
    _write_frames(folder)
    results = [*_passed(), not_applicable()] + ([] if good else _bad())
    return Run(folder, _info(), mossgate(), tuple(results), _moments())


@pytest.fixture(scope="session")
def mixed_run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A run with every verdict in it. Not to be written into."""
    return make_run(tmp_path_factory.mktemp("mixed"), good=False)


@pytest.fixture(scope="session")
def passed_run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A run of a good unit. Not to be written into."""
    return make_run(tmp_path_factory.mktemp("passed"), good=True)
