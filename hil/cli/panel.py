"""The live panel: where the run is, what is awaited, how the witnesses are. Words beside colours; 80 columns are enough."""

from rich.console import Group, RenderableType
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from hil.cli.health import Health
from hil.cli.lamp_word import SWATCHES, LampWord
from hil.core.text import printable
from hil.core.verdicts import Verdict
from hil.drive.live import LiveDriver

STYLES = {Verdict.PASS: "green", Verdict.FAIL: "bold red", Verdict.UNJUDGED: "yellow", Verdict.NOT_REACHED: "yellow"}
ROUTE_COLUMNS = 66
GOOD_WORDS = ("awake", "speaking", "idle", "joined", "on the hotspot", "closed for the flasher")


def panel(driver: LiveDriver, health: Health, lamp: LampWord) -> RenderableType:
    """The panel as it is now."""
    rows = Table.grid(padding=(0, 2))
    rows.add_column(width=9, style="dim")
    rows.add_column(overflow="fold")
    rows.add_row("route", _route(driver))
    rows.add_row("leg", _leg(driver))
    rows.add_row("awaits", _awaits(driver, health))
    rows.add_row("lamp", _lamp(lamp.now() if driver.bench.camera is not None else f"by eye: {health.look}"))
    rows.add_row("witnesses", _witnesses(health.words()))
    rows.add_row("checks", _checks(driver))
    if driver.progress.first_failure:
        rows.add_row("failure", Text(printable(driver.progress.first_failure)[:230], style="bold red"))
    stop = Text("Ctrl-C stops: the unit is switched off, what was recorded is kept.", style="dim")
    return Group(Rule(_title(driver), style="dim"), rows, stop)


def _title(driver: LiveDriver) -> Text:
    label, build = driver.bench.label, driver.bench.build
    title = f"{driver.product.name} · {label.serial_number} · build {build.version} {build.sha256[:8]}"
    return Text(printable(title), style="bold")


def _route(driver: LiveDriver) -> Text:
    progress, text = driver.progress, Text()
    with progress.lock:
        done, route, now = list(progress.done), list(progress.route), progress.leg
    marks = [(leg, "done") for leg in done] + [(leg, "now" if leg == now else "next") for leg in route[len(done) :]]
    column = 0
    for leg, state in marks:
        mark = {"done": "✓", "now": "▶", "next": "·"}[state]
        style = {"done": "green", "now": "bold", "next": "dim"}[state]
        if column and column + len(leg) + 2 > ROUTE_COLUMNS:
            text.append("\n")
            column = 0
        text.append(f"{mark} {leg}   ", style=style)
        column += len(leg) + 5
    return text or Text("planning")


def _leg(driver: LiveDriver) -> Text:
    progress = driver.progress
    if not progress.leg:
        return Text("judging")
    past_s = driver.bench.clock.now_s() - progress.leg_began_s
    return Text(f"{progress.leg_title} ({past_s:.0f} s)")


def _awaits(driver: LiveDriver, health: Health) -> Text:
    awaiting = driver.bench.timeline.awaiting
    last = next(iter(health.recent), None)
    text = Text()
    if awaiting is None:
        text.append("nothing now")
    else:
        left_s = max(0.0, awaiting.until_s - driver.bench.clock.now_s())
        text.append(f"{printable(awaiting.what)}, {left_s:.0f} s left")
    if last is not None:
        said = printable(last.text("text") or last.text("purpose"))[:40]
        text.append(f"\nlast seen: {last.source} {last.kind} {said}", style="dim")
    return text


def _lamp(word: str) -> Text:
    text = Text()
    text.append("■ " if word in SWATCHES else "□ ", style=SWATCHES.get(word, "dim"))
    return text.append(word)


def _witnesses(words: dict[str, str]) -> Table:
    grid = Table.grid(padding=(0, 3))
    cells = []
    for witness, word in words.items():
        text = Text(f"{witness} ", style="dim")
        cells.append(text.append(word, style="not dim" if word in GOOD_WORDS else "not dim yellow"))
    for at in range(0, len(cells), 3):
        grid.add_row(*cells[at : at + 3])
    return grid


def _checks(driver: LiveDriver) -> Text:
    progress, text = driver.progress, Text()
    with progress.lock:
        verdicts, wanted, left_s = dict(progress.verdicts), progress.wanted_checks, progress.expected_left_s
    text.append(f"{sum(verdicts.values())} of {wanted} judged")
    for verdict, count in verdicts.items():
        text.append(f"   {count} {verdict}", style=STYLES.get(verdict, ""))
    past_s = driver.bench.clock.now_s() - progress.leg_began_s if progress.leg else 0.0
    real_left_s = driver.bench.clock.real_s(max(left_s - past_s, 0.0))
    return text.append(f"   about {real_left_s:.0f} s left")
