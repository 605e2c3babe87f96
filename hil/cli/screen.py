"""The screen of a run: a live panel on a terminal, plain lines elsewhere. A pytest plug-in in place of pytest's own."""

import os
from collections.abc import Sequence
from threading import Event, Thread
from typing import TextIO

import pytest
from hil_fixtures.session import RunEnd
from rich.console import Console
from rich.live import Live

from hil.cli.health import Health
from hil.cli.lamp_word import LampWord
from hil.cli.panel import panel
from hil.cli.summary import summary
from hil.core.frames import Crops
from hil.core.moments import Moment
from hil.core.text import count, printable
from hil.drive.driver import Driver
from hil.drive.live import LiveDriver
from hil.evidence.camera import curve_of
from hil.judge.results import CheckResult

REFRESHES_A_SECOND = 6


class _Output(Console):
    """A console that a run outlives."""

    def on_broken_pipe(self) -> None:
        """Nobody reads any more: say nothing more; the run goes on, and its sheet tells."""
        self.quiet = True
        os.dup2(os.open(os.devnull, os.O_WRONLY), self.file.fileno())


class Screen:
    """Shows a run while it lasts and sums it up at its end."""

    def __init__(self, out: TextIO) -> None:
        """Write to `out`."""
        self._console = _Output(file=out, highlight=False, soft_wrap=not out.isatty())
        self._live: Live | None = None
        self._stop = Event()
        self._thread: Thread | None = None
        self._trouble: list[str] = []
        self.interrupted = False
        self._began = False

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self, config: pytest.Config) -> None:
        """Take pytest's place at the terminal."""
        config.pluginmanager.unregister(name="terminalreporter")

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Keep what could not be collected."""
        if report.failed:
            self._trouble.append(f"{report.nodeid}: {report.longreprtext}")

    def pytest_keyboard_interrupt(self, excinfo: pytest.ExceptionInfo[BaseException]) -> None:
        """Keep the reason of an exit."""
        if isinstance(excinfo.value, pytest.exit.Exception):
            self._trouble.append(f"hil: {excinfo.value.msg}")
        else:
            self.interrupted = True
            kept = "what was recorded is kept" if self._began else "no run had begun"
            self._trouble.append(f"hil: interrupted; {kept}.")

    def pytest_internalerror(self, excrepr: object) -> None:
        """Keep an error of our own."""
        self._trouble.append(f"{excrepr}\nThis is a fault of hil itself: please report it.")

    def pytest_hil_run_begins(self, driver: Driver) -> None:
        """Begin to show."""
        self._began = True
        if not isinstance(driver, LiveDriver):
            return
        driver.bench.timeline.listen(self._tell_person)
        if self._console.is_terminal:
            self._show_live(driver)
        else:
            driver.bench.timeline.listen(self._tell)
            self._console.print(
                f"{driver.product.name}, {driver.bench.label.serial_number}, build {driver.build.version}"
            )

    def _show_live(self, driver: LiveDriver) -> None:
        by_eye = driver.bench.camera is None
        health = Health(driver.bench.clock, driver.bench.trial.control_network, by_eye=by_eye)
        lamp = LampWord(curve_of(driver.bench.timeline.since()))
        driver.bench.timeline.listen(health.see)

        def on_frame(_time_s: float, crop: Crops) -> None:
            health.see_frame()
            lamp.see(crop)

        if driver.bench.camera is not None:
            driver.bench.camera.on_frame = on_frame
        self._live = Live(console=self._console, auto_refresh=False, transient=True)
        self._live.start()
        self._thread = Thread(target=self._refresh, args=(self._live, driver, health, lamp), name="screen", daemon=True)
        self._thread.start()

    def _refresh(self, live: Live, driver: LiveDriver, health: Health, lamp: LampWord) -> None:
        while not self._stop.wait(1.0 / REFRESHES_A_SECOND):
            live.update(panel(driver, health, lamp), refresh=True)

    def _tell_person(self, moment: Moment) -> None:
        """Tell a person at the bench what to do."""
        if moment.is_("operator", "will be asked"):
            switches, legs = (int(moment.number(what, 0.0)) for what in ("switches", "legs"))
            wanted = [f"{count(switches, 'time')} to plug the unit in or to unplug it"] if switches else []
            wanted += [f"in {count(legs, 'leg')} to look at its lamp"] if legs else []
            self._console.print(f"You will be asked {' and '.join(wanted)}, more if a leg is repeated.")
        elif moment.is_("lamp by eye", "keys"):
            self._console.print("Keys for the lamp's looks, to press at once and at each change:")
            for line in moment.text("text").splitlines():
                self._console.print(f"     {printable(line)}", markup=False)
        elif moment.is_("operator", "asked"):
            text = f"You: {moment.text('what')} (within {moment.number('limit_s', 0.0):.0f} s)."
            self._console.print(printable(text), markup=False, style="bold")

    def _tell(self, moment: Moment) -> None:
        """One plain line for each thing that matters."""
        text = ""
        if moment.is_("leg", "begins"):
            text = f"leg {moment.text('name')}"
        elif moment.is_("stage", "confirmed"):
            text = f"  witnesses confirm {moment.text('situation')}"
        elif moment.source == "verdict" and moment.kind != "pass":
            text = f"  {moment.kind}: {moment.text('check')}: {moment.text('reason')}"
        elif moment.is_("bench", "broke"):
            text = f"  the bench broke: {moment.text('why')}"
        if text:
            self._console.print(f"{moment.time_s:7.1f} s  {printable(text)}", markup=False)

    def pytest_hil_run_ends(self, driver: Driver, results: Sequence[CheckResult], end: RunEnd) -> None:
        """Sum up."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=2.0)
        if self._live is not None:
            self._live.stop()
        sheet = end.outputs.html if end.outputs else None
        for line in summary(driver, results, end.verdict, sheet, end.trouble):
            self._console.print(line)

    def say_trouble(self) -> None:
        """Say what went wrong outside the run itself, last of all, where errors are said."""
        errors = Console(stderr=True, highlight=False, soft_wrap=True)
        for text in (printable(line) for trouble in self._trouble for line in trouble.splitlines()):
            errors.print(text, markup=False, style="yellow" if errors.is_terminal else "")
