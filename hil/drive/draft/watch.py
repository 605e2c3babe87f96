"""Drives one good unit that nobody described, from its power on to its hotspot with the network absent.

The shipped legs are driven as soon as enough is known for them. A unit that comes no further ends the watch, and the
draft says why.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace

from hil.core.errors import BenchError
from hil.core.moments import Moment
from hil.core.run_folder import RunFolder
from hil.core.timeline import Expired
from hil.core.trial import Trial, draw
from hil.drive.draft.draft import PATIENCE_S, Draft, driven_as
from hil.drive.draft.explore import STATUS_PATHS, find_form, walk
from hil.drive.draft.form_told import tell_form
from hil.drive.draft.hotspot_told import tell_hotspot
from hil.drive.draft.status_told import tell_status
from hil.evidence.air import AirView
from hil.evidence.window import Facts, Record, Window
from hil.instruments.bench import Bench
from hil.instruments.stations import Lease
from hil.legs.join import power_cut, saved_network_absent
from hil.legs.leg import LEG_ATTRIBUTE, Leg
from hil.legs.moves import JOIN_LIMIT_S, wait_connected
from hil.legs.start import build_flashed, form_saved
from hil.page.read import read_page

LOOK_S = 6.0  # a lamp watched for so long shows two periods of IEC 60073's slowest flash
DARK_S = 1.5  # frames of the dark lamp are the camera's reference
BY_HAND_S = 600.0
CAMERA_BEHIND_REAL_S = 0.35
HOTSPOT_LIMIT_S = 2.0 * PATIENCE_S  # a unit with settings of its own looks for their network first
SHIPPED, SAVED, PAGES, CUT, ABSENT = "first start", "settings saved", "pages", "power cut", "network absent"
STATUS_FOUND = "status found"
ANSWER_SHOWN = 200  # characters of an error page
FORM_AS_SHIPPED = "form as shipped"  # as the shipped legs call it: the evidence finds it by that
Tell = Callable[[str], None]


@dataclass
class Watched:
    """What a watch left: the draft so far, and where on the record each part of it lies."""

    draft: Draft
    record: Callable[[], Record]
    spans_s: dict[str, tuple[float, float]] = field(default_factory=dict)

    def window(self, name: str) -> Window | None:
        """The window of a part that was driven."""
        span_s = self.spans_s.get(name)
        return Window(name, *span_s, self.record()) if span_s else None


class Watch:
    """One watch of one unit. `facts` are those of a run, as far as evidence needs them."""

    def __init__(self, bench: Bench, folder: RunFolder, facts: Facts, tell: Tell, *, by_hand: bool) -> None:
        """Take over a bench that is ready; each line for those who watch goes to `tell`."""
        self._bench, self._folder, self._facts, self._tell, self._by_hand = bench, folder, facts, tell, by_hand
        self._camera = bench.its_camera
        self._draft = Draft()
        self._watched = Watched(self._draft, self._record)

    def run(self, *, flash: bool) -> Watched:
        """Watch it through; where asked for, erase the unit and put the build on it first.

        Raises:
            BenchError: an instrument was asleep or broke.
        """
        steps = [self._first_start, self._set_up, self._look_round, self._cut, self._absent]
        try:
            for step in [self._flash, *steps] if flash else steps:
                step()
                if self._draft.stopped:
                    break
        finally:
            with suppress(BenchError):
                self._bench.power.off(asked_by="end of the draft")
        return self._watched

    @property
    def typed(self) -> dict[str, str]:
        """What was typed into the form, by setting; by hand, nothing that is known."""
        return {} if self._by_hand else dict(self._bench.trial.values)

    def _record(self) -> Record:
        trial = self._bench.trial
        stated = dict(self._facts.get("trial", {}))
        stated |= {"values": dict(trial.values), "secret_names": list(trial.secret_names)}
        return Record(
            product=driven_as(self._draft),
            facts={**self._facts, "trial": stated},
            moments=self._bench.timeline.since(),
            frames=self._folder.read_frames,
            page=self._folder.read_page,
            console=self._folder.read_console,
        )

    @contextmanager
    def _part(self, name: str) -> Iterator[None]:
        """A part of the watch: its span, and why the unit came no further, where a leg gave up."""
        timeline, mark = self._bench.timeline, self._bench.timeline.mark()
        begin_s = timeline.clock.now_s()
        yield
        end_s = timeline.clock.now_s()
        behind_s = timeline.clock.unit_s(CAMERA_BEHIND_REAL_S)
        self._camera.wait_past(end_s + behind_s, limit_s=3.0 * behind_s)
        self._watched.spans_s[name] = begin_s, end_s
        gave_up = next((m for m in timeline.since(mark) if m.is_("leg", "gave up")), None)
        if gave_up is not None:
            why = gave_up.text("why").partition("; saw instead")[0]  # beacons, always
            self._stop(f"{name}: {why}", gave_up.text("instrument"))

    def _stop(self, why: str, instrument: str = "") -> None:
        if instrument:
            raise BenchError(instrument, f"is gone, and the watch can go on no longer: {why}.")
        self._draft.stopped = why

    def _drive(self, declared: object) -> None:
        leg: object = getattr(declared, LEG_ATTRIBUTE)
        assert isinstance(leg, Leg)
        leg.drive(self._bench, driven_as(self._draft))

    def _flash(self) -> None:
        self._tell(f"erasing the unit and putting build {self._bench.build.version} on it")
        with self._part("build"):
            self._drive(build_flashed)

    def _first_start(self) -> None:
        bench = self._bench
        bench.power.off(asked_by="leg")
        bench.clock.pause(DARK_S)
        bench.access_point.up(bench.network)
        with self._part(SHIPPED):
            self._tell(f"power on; awaiting a network that was not on the air before, {HOTSPOT_LIMIT_S:.0f} s at most")
            beacon = self._new_network()
            if beacon is None:
                return
            tell_hotspot(self._draft, beacon, bench.label.address)
            if self._draft.hotspot is None:
                return
            self._tell(f"hotspot {beacon.text('name')!r}, {beacon.text('security')}, channel {beacon.text('channel')}")
            self._look_at_form(beacon.text("name"))
            bench.clock.pause(LOOK_S)

    def _new_network(self) -> Moment | None:
        bench, timeline = self._bench, self._bench.timeline
        before = {m.text("name") for m in timeline.since() if m.is_("air", "beacon")}
        known = before | {bench.trial.network, bench.trial.control_network}
        begin_s = timeline.clock.now_s()
        mark = timeline.mark()
        bench.power.on(asked_by="leg")
        seen = timeline.wait(
            lambda m: m.is_("air", "beacon") and m.text("name") not in known,
            limit_s=HOTSPOT_LIMIT_S,
            awaited="a network that was not on the air before",
            since=mark,
        )
        if not isinstance(seen, Expired):
            return seen
        window = Window("search", begin_s, timeline.clock.now_s(), self._record())
        gaps = AirView(window).asleep
        if gaps:
            why = f"was asleep from {gaps[0].begin_s:.1f} s to {gaps[0].end_s:.1f} s: that no hotspot was heard tells nothing"
            raise BenchError("air monitor", f"{why}.", "Look at its adapter, then watch again.")
        self._stop(f"it opened no hotspot within {HOTSPOT_LIMIT_S:.0f} s of power on ({self._last_said()})")
        return None

    def _last_said(self) -> str:
        lines = [m for m in self._bench.timeline.since() if m.is_("console", "line")]
        return f"it said last: {lines[-1].text('text')[:60]!r}" if lines else "it said nothing on the console"

    def _look_at_form(self, name: str) -> None:
        lease = self._enter(name)
        if lease is None:
            return
        assert self._draft.hotspot is not None
        self._draft.hotspot = self._draft.hotspot.model_copy(update={"address": lease.router})
        visitor = self._bench.visits.at(lease)
        found = find_form(lambda url: visitor.get(url, FORM_AS_SHIPPED), lease.router)
        tell_form(self._draft, found, by_hand=self._by_hand)
        self._tell(f"form at {found[0]}: {len(found[1].settings)} settings" if found else "no form was found")
        self._bench.probe.leave()

    def _enter(self, name: str) -> Lease | None:
        secured = self._draft.hotspot is not None and self._draft.hotspot.key is not None
        self._tell(f"joining {name!r}" + (" with the key on the label" if secured else ""))
        lease = self._bench.probe.join(name, self._bench.label.hotspot_key if secured else None, JOIN_LIMIT_S)
        if lease is None:
            how = "with the key on the label" if secured else "without a key"
            failed = [m for m in self._bench.timeline.since() if m.is_("probe", "join failed")]
            why = failed[-1].text("why") if failed else "no answer"
            self._stop(f"the probe could not join {name!r} {how}: {why}")
        return lease

    def _set_up(self) -> None:
        if not self._by_hand and not self._draft.has_roles:
            self._stop(
                "the form's network and network key were not recognised: set the unit up yourself, with --by-hand"
            )
            return
        self._bench = replace(self._bench, trial=self._trial())
        with self._part(SAVED):
            if self._by_hand:
                self._await_hands()
            else:
                self._tell("filling the form in and saving; awaiting the unit on the bench's network")
                self._drive(form_saved)
            self._bench.clock.pause(LOOK_S)
        if self._draft.stopped:
            self._draft.stopped += self._answer_to_form()

    def _answer_to_form(self) -> str:
        """What the unit answered to the form, where that was an error."""
        sent = [m for m in self._bench.timeline.since() if m.source == "pages" and m.text("purpose") == "save"]
        if not sent or sent[-1].number("status", 0.0) < 400.0:
            return ""
        page = read_page(
            self._folder.read_page(sent[-1].text("file")), sent[-1].text("content_type"), sent[-1].text("url")
        )
        said = " ".join(page.text.split())[:ANSWER_SHOWN]
        return f"; the form was answered with status {sent[-1].text('status')}, {said!r}"

    def _trial(self) -> Trial:
        """What is typed: drawn for the settings recognised, with the network that the bench has already."""
        given = self._bench.trial
        drawn = draw(driven_as(self._draft))
        by_role = {"network": given.network, "network key": given.network_key}
        values = dict(drawn.values)
        values |= {name: by_role[s.role] for name, s in self._draft.by_name.items() if s.role in by_role}
        return replace(
            drawn,
            network=given.network,
            network_key=given.network_key,
            control_network=given.control_network,
            values=values,
        )

    def _await_hands(self) -> None:
        bench = self._bench
        hotspot = self._draft.hotspot
        where = f"http://{hotspot.address}{self._draft.form_path}" if hotspot else "its page"
        self._tell(f"BY HAND: join the unit's hotspot, open {where}, and set it up for")
        self._tell(f"    network      {bench.trial.network}")
        self._tell(f"    network key  {bench.trial.network_key}")
        self._tell(
            f"then save; awaiting the unit on that network, {bench.clock.real_s(BY_HAND_S) / 60:.0f} min at most"
        )
        mark = bench.timeline.mark()
        bench.timeline.add("ledger", "asked", asked_by="form")
        wait_connected(bench, BY_HAND_S, mark)

    def _look_round(self) -> None:
        address = self._leased()
        if address is None:
            return
        self._tell(f"connected as {address}; looking at its pages")
        bench = self._bench
        visitor = bench.visits.at(bench.access_point.lease_of_bench())
        known = {
            "version": bench.build.version,
            "address": address,
            "network": bench.trial.network,
            "serial_number": bench.label.serial_number,
        }
        with self._part(PAGES):
            pages = list(walk(lambda url: visitor.get(url, "page found"), address, ("/", *STATUS_PATHS)))
            tell_status(self._draft, pages, known)
            if self._draft.status is not None:
                visitor.get(f"http://{address}{self._draft.status.path}", STATUS_FOUND)
        paths = ", ".join(found.path for found in pages if found.status == 200)
        status = self._draft.status.path if self._draft.status else "not found"
        self._tell(f"pages: {paths or 'none'}; status page: {status}")

    def _leased(self) -> str | None:
        unit = self._bench.label.address.lower()
        leases = [m for m in self._bench.timeline.since() if m.is_("access point", "leased")]
        own = [m for m in leases if m.text("address").lower() == unit]
        return own[-1].text("ip") if own else None

    def _cut(self) -> None:
        self._tell("cutting the supply for a second; awaiting the unit on the bench's network again")
        with self._part(CUT):
            self._drive(power_cut)

    def _absent(self) -> None:
        bench = self._bench
        bench.power.off(asked_by="leg")
        bench.clock.pause(DARK_S)
        self._tell("power on with the network absent; awaiting the hotspot")
        with self._part(ABSENT):
            self._drive(saved_network_absent)
        if not self._draft.stopped:
            self._tell("hotspot on the air again; that is all")
