"""Drives a unit on a bench, leg by leg, and writes the run's record."""

import gc
from collections.abc import Callable, Sequence
from contextlib import suppress
from math import inf, isfinite

from hil.core.build import Build
from hil.core.errors import BenchError, InstrumentGone
from hil.core.moments import Json
from hil.core.product import Product
from hil.core.promise_use import PromiseUse
from hil.core.run_folder import LegRecord, RunFolder, RunInfo
from hil.core.stages import Situation, Unknown
from hil.drive.confirm import confirm
from hil.drive.driver import BookedVerdict
from hil.drive.progress import Progress
from hil.drive.recorded import learnt_colours, read_record
from hil.drive.route import Route, plan_route
from hil.drive.self_checks import chip_witnessed, measured_camera, version_witnessed, whole_run
from hil.drive.shelf import Lack, Shelf
from hil.evidence.lamp import BEHIND_REAL_S
from hil.evidence.window import Record, Window
from hil.instruments.bench import Bench
from hil.legs.leg import LegCall


class LiveDriver:
    """A unit on a bench."""

    live = True

    def __init__(
        self,
        bench: Bench,
        product: Product,
        folder: RunFolder,
        info: RunInfo,
        calls: Sequence[LegCall],
        close_bench: Callable[[], None],
    ) -> None:
        """Take over a bench that is ready; `calls` are all legs there are, wanted or not."""
        self.bench, self.product, self.folder, self.info = bench, product, folder, info
        self.shelf = Shelf(calls)
        self.progress = Progress()
        self.use = PromiseUse()
        self.situation: Situation = Unknown()
        self.route = Route((), 0.0)
        self._planned_for: tuple[Situation, frozenset[str]] | None = None
        self._calls = {call.id: call for call in calls}
        self._close_bench = close_bench
        self._surprised: set[str] = set()
        self._broken = ""
        self.switched_off = False
        self._retakes: dict[str, int] = {}

    @property
    def broken(self) -> str:
        """Why the bench can go on no longer."""
        return self._broken or self.bench.timeline.trouble or ""

    @property
    def build(self) -> Build:
        """The build given."""
        return self.bench.build

    def next_call(self, wanted: Sequence[LegCall]) -> LegCall | None:
        """Plan anew where the unit is not as foreseen; a leg that surprised once is no way to anywhere any more."""
        if self.broken:
            return None
        ids = frozenset(call.id for call in wanted)
        if self._planned_for != (self.situation, ids):
            bridges = [
                c for c in self._calls.values() if c.id not in ids | self._surprised and c.leg.is_bridge(self.product)
            ]
            self.route = plan_route(self.situation, wanted, bridges, self._expected_s)
            self._planned_for = self.situation, ids
            self._tell_operator()
        self.progress.planned([step.id for step in self.route.steps], self.route.expected_s)
        return self._calls[self.route.steps[0].id] if self.route.steps else None

    def _tell_operator(self) -> None:
        """Book beforehand, once, how often the person at the bench will be asked, by the route as it is planned."""
        by_hand, by_eye = self.bench.power.by_hand, self.bench.eye is not None
        if (by_hand or by_eye) and not self.info.legs:
            switches = sum(self._calls[step.id].leg.switches for step in self.route.steps) if by_hand else 0
            legs = len(self.route.steps) if by_eye else 0
            self.bench.timeline.add("operator", "will be asked", switches=switches, legs=legs)

    def _advance_plan(self, driven: LegCall, hoped: Situation) -> None:
        """Take a leg off the plan, which stays good for the unit where that leg should have left it."""
        if self._planned_for is None or not self.route.steps or self.route.steps[0].id != driven.id:
            self._planned_for = None
            return
        left_s = self.route.expected_s - self._expected_s(driven.id)
        self.route = Route(self.route.steps[1:], left_s, self.route.unreached)
        self._planned_for = hoped, self._planned_for[1] - {driven.id}

    def takes_wanted(self, call: LegCall) -> int:
        """The declared repeats, and what was granted since."""
        return call.leg.repeat + self._retakes.get(call.id, 0)

    def grant_retake(self, call: LegCall) -> bool:
        """Grant one more take while the leg's declaration allows it."""
        granted = self._retakes.get(call.id, 0)
        if granted >= call.leg.retakes or self.broken:
            return False
        self._retakes[call.id] = granted + 1
        return True

    def drive(self, call: LegCall, *, bridge: bool) -> None:
        """Drive a leg, see what the witnesses confirm, and write it down."""
        # Going over all objects there are would stop every thread for a tenth of a second, and the witnesses with them.
        gc.freeze()
        timeline, began, eye = self.bench.timeline, self.situation, self.bench.eye
        if eye is not None:
            eye.begin()
        begin_s = timeline.add("leg", "begins", name=call.id).time_s
        self.progress.begins(call.id, call.leg.title, begin_s)
        try:
            call.drive(self.bench, self.product)
        except InstrumentGone as error:
            timeline.add("leg", "gave up", why=error.problem, instrument=error.instrument)
        except BenchError as error:
            self._broken = str(error)
            timeline.add("bench", "broke", why=str(error))
        end_s = timeline.add("leg", "ends", name=call.id).time_s
        self._await_lamp(begin_s, end_s)
        window = Window(call.id, begin_s, end_s, self._record())
        self._settle(call, window, began, bridge=bridge)
        self.progress.ends(call.id)

    def _await_lamp(self, begin_s: float, end_s: float) -> None:
        """Wait until all is told that was seen of the lamp in a leg."""
        clock, camera, eye = self.bench.clock, self.bench.camera, self.bench.eye
        if camera is not None:
            camera.wait_past(end_s + clock.unit_s(BEHIND_REAL_S), limit_s=clock.unit_s(1.0))
        if eye is not None:
            eye.end(begin_s, end_s)

    def lack(self, call: LegCall) -> None:
        """Settle that a wanted leg will not be driven."""
        if self.broken:
            self.shelf.lack(call, Lack.BENCH_BROKE, self.broken)
        else:
            reason = (
                f"the leg begins from {call.begins}; the witnesses confirm {self.situation}, and no route leads there"
            )
            self.shelf.lack(call, Lack.NOT_REACHED, reason)

    def book(self, result: BookedVerdict) -> None:
        """A moment a verdict: a run that is killed keeps those it had."""
        readings: list[Json] = [
            {
                "promised": f.promised,
                "verdict": str(f.verdict),
                "low": _finite(f.reading.low),
                "high": _finite(f.reading.high),
                "unit": f.reading.unit,
                "because": f.reading.because,
                "lower": f.limits.lower if f.limits else None,
                "upper": f.limits.upper if f.limits else None,
            }
            for f in result.findings
            if f.reading is not None
        ]
        timeline = self.bench.timeline
        timeline.add("verdict", str(result.verdict), check=result.name, reason=result.reason, readings=readings)

    def ask_end(self) -> None:
        """Have the next wait raise KeyboardInterrupt."""
        self.bench.timeline.ask_end()

    def close(self) -> None:
        """Switch the unit off, close the bench, and state what the whole run says of the bench."""
        self.bench.timeline.ask_end(asked=False)  # closing may wait for its own sake
        try:
            self.bench.power.off(asked_by="end of the run")
            self.switched_off = True
        except BenchError as error:
            self._broken = self._broken or f"the unit could not be switched off: {error}"
        with suppress(BenchError, OSError):  # an instrument that is gone already, a disk that takes no more
            self._close_bench()
        window = whole_run(self._record())
        self.info.facts["instruments"]["camera measured"] = measured_camera(window)
        self.info.facts["unit"]["chip witnessed"] = chip_witnessed(window)
        self.info.facts["build"]["version witnessed"] = version_witnessed(window)

    def record(self) -> Record:
        """As it is on disk, so that the sheet tells what a stored run's would."""
        return read_record(self.folder, self.info, self.product)

    @property
    def unit_time_s(self) -> float:
        """From the first leg's begin to the last one's end."""
        legs = self.info.legs
        return legs[-1].end_s - legs[0].begin_s if legs else 0.0

    @property
    def lower_bound_s(self) -> float:
        """The least unit time of a route over the wanted legs that were driven, by the durations measured."""
        measured: dict[str, float] = {}
        for leg in self.info.legs:
            id_ = f"{leg.name}[{leg.parameter}]" if leg.parameter else leg.name
            measured[id_] = min(leg.end_s - leg.begin_s, measured.get(id_, inf))
        wanted = [self._calls[id_] for id_ in measured if any(not leg.bridge for leg in self._records_of(id_))]
        bridges = [self._calls[id_] for id_ in measured if self._calls[id_] not in wanted]
        return plan_route(Unknown(), wanted, bridges, measured.__getitem__).expected_s if wanted else 0.0

    def _records_of(self, id_: str) -> list[LegRecord]:
        call = self._calls[id_]
        return [leg for leg in self.info.legs if (leg.name, leg.parameter) == (call.leg.name, call.parameter_id)]

    def _settle(self, call: LegCall, window: Window, began: Situation, *, bridge: bool) -> None:
        hoped = call.ends.after(began)
        self.situation = confirm(window, hoped)
        if self.situation != hoped:
            self._surprised.add(call.id)
        self._advance_plan(call, hoped)
        self.bench.timeline.add("stage", "confirmed", situation=str(self.situation), hoped=str(hoped))
        record = LegRecord(
            name=call.leg.name,
            parameter=call.parameter_id,
            take=self.shelf.takes_of(call) + 1,
            begin_s=window.begin_s,
            end_s=window.end_s,
            begins=str(began),
            ends=str(hoped),
            confirmed=str(self.situation),
            expected_s=call.leg.expected_s(self.product),
            bridge=bridge,
        )
        self.info.legs.append(record)
        try:
            self.folder.write_info(self.info)
        except OSError as error:
            self._broken = self._broken or f"the run folder takes no more: {error}"
        if self.broken:
            self.shelf.lack(call, Lack.BENCH_BROKE, self.broken)
        self.shelf.put(call, window)

    def _record(self) -> Record:
        return Record(
            product=self.use.for_views(self.product),
            facts=self.info.facts,
            moments=self.bench.timeline.since(),
            frames=self.folder.read_frames,
            page=self.folder.read_page,
            console=self.folder.read_console,
            began=self.info.began,
            learnt=learnt_colours(self.folder),
        )

    def _expected_s(self, id_: str) -> float:
        return self._calls[id_].leg.expected_s(self.product)


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None
