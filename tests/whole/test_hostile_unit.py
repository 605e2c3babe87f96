"""A unit that puts markup, terminal escapes and rubbish wherever it can: harmless on every screen and in every file.

One live run, watched on a terminal; what floods and never ends is held by the tests of console and pages.
"""

import errno
import json
import os
import pty
import re
import select
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from xml.etree import ElementTree as ET

import html5lib
import pytest
from junitparser import JUnitXml
from support.firmware import write_build
from support.runs import Ended, hil, suite

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments.pages import Pages
from hil.virtual.air.radio import HotspotPlan, Radio
from hil.virtual.bench_air import AirThread
from hil.virtual.bench_stations import VirtualProbe
from hil.virtual.world import WorldProcess

LIMIT_S = 240.0
# Sets a terminal's title and clears it (ECMA-48 8.3.39, xterm's control sequences), in seven and in eight bits.
ESCAPES = "\x1b]0;owned\x07\x1b[2J\x9b2J"
MARKUP = '<script>alert(1)</script><img src=x onerror=alert(2)>"\'#panic("typst")$*_'
EVIL = ESCAPES + MARKUP
EVIL_NAME = "<script>\x1b[2Jalert(1)</script>"  # of a network: 32 octets at most
BABBLE = f"""
async def _babble():
    import sys

    print("Traceback " + {EVIL!r})
    while True:
        sys.stdout.buffer.write(b"\\xff\\xfe\\x00\\x1b[2J\\x1b]0;owned\\x07<script>" * 8)
        await asyncio.sleep(0.1)


async def main():"""
TWO_NAMES = f"""    radio.host({EVIL_NAME!r}.encode(), chip.label_key(), HOTSPOT_CHANNEL, units.HOTSPOT_ADDRESS)
    await asyncio.sleep(1.0)
    unit.address ="""
EVIL_DEFAULT = f"""    if field.name == "network":
        return 'value="%s"' % escape({EVIL!r})
    value = 'value"""
CHANGES = {
    "main.py": {
        "\nasync def main():": BABBLE,
        "        joining.live(unit),": "        joining.live(unit),\n        _babble(),",
    },
    "joining.py": {
        "    radio.host(hotspot_name()": TWO_NAMES.rpartition("    unit.address")[0] + "    radio.host(hotspot_name()"
    },
    "form.py": {"    value = 'value": EVIL_DEFAULT},
    "markup.py": {"<main>": "<main><script>alert(3)</script>"},
}


def accept_on_a_terminal(folder: Path, *arguments: str) -> Ended:
    """Run `hil accept` on a pseudo-terminal; what the terminal got is the output."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-W", "ignore", "-c", "from hil.cli.main import main; main()", "accept", *arguments]
    environment = os.environ | {"TERM": "xterm-256color", "COLUMNS": "200", "LINES": "50"}
    process = subprocess.Popen(command, cwd=folder, env=environment, stdin=theirs, stdout=theirs, stderr=theirs)
    os.close(theirs)
    shown = b"".join(_read_to_end(ours))
    os.close(ours)
    return Ended(process.wait(LIMIT_S), shown.decode(), "", folder / "reports")


def _read_to_end(terminal: int) -> Iterator[bytes]:
    while select.select([terminal], [], [], LIMIT_S)[0]:
        try:
            yield os.read(terminal, 65536)
        except OSError as error:
            if error.errno != errno.EIO:  # what Linux says when nobody has the other end open any more
                raise
            return
    raise AssertionError("the run fell silent")


@pytest.fixture(scope="module")
def hostile_run(tmp_path_factory: pytest.TempPathFactory) -> Ended:
    folder = tmp_path_factory.mktemp("hostile")
    build = write_build(folder / "build", CHANGES)
    return accept_on_a_terminal(folder, "-k", "test_start", "--build", str(build))


def test_the_unit_fails_and_the_run_is_whole(hostile_run: Ended) -> None:
    assert hostile_run.code == 1, hostile_run.out
    assert json.loads((hostile_run.folder / "run.json").read_text(encoding="utf-8"))["complete"] is True
    assert "Traceback (most recent call last)" not in hostile_run.out


def test_the_console_is_kept_as_it_was(hostile_run: Ended) -> None:
    raw = (hostile_run.folder / "console.raw").read_bytes()
    assert b"\xff\xfe\x00\x1b[2J\x1b]0;owned\x07<script>" in raw


def test_no_escape_of_the_unit_reaches_the_terminal(hostile_run: Ended) -> None:
    assert "\\x1b" in hostile_run.out  # it was shown, as text
    assert "owned" in hostile_run.out
    assert not re.search("\x1b\\]|\x1b\\[2J|\x9b|\x07", hostile_run.out)


def test_judged_again_and_by_plain_pytest_nothing_reaches_the_output(hostile_run: Ended, tmp_path: Path) -> None:
    run = str(hostile_run.folder)
    for again in (
        hil("judge", run, "-k", "test_start", "--into", "judged", cwd=tmp_path),
        suite("--hil-run", run, "--hil-into", "plain", "-k", "test_start", cwd=tmp_path),
    ):
        assert again.code == 1, again.out + again.err
        assert "<script>" in again.out
        assert not re.search("[\x1b\x9b\x07]", again.out + again.err)


def test_the_sheet_shows_markup_as_text_only(hostile_run: Ended) -> None:
    """Read by html5lib, as browsers read it (WHATWG HTML standard)."""
    html = (hostile_run.folder / "sheet.html").read_text(encoding="utf-8")
    assert not re.search("[\x1b\x9b\x07]", html)
    page = html5lib.parse(html, namespaceHTMLElements=False)
    assert not [element for element in page.iter() if element.tag == "script"]
    assert not [name for element in page.iter() for name in element.attrib if str(name).lower().startswith("on")]
    addresses = [v for element in page.iter() for n, v in element.attrib.items() if n in ("href", "src", "action")]
    assert not [address for address in addresses if address.strip().lower().startswith("javascript:")]
    assert "x" not in addresses  # the image of the unit's markup
    assert "<script>" in "".join(page.itertext())


def test_the_printed_sheet_is_made(hostile_run: Ended) -> None:
    assert (hostile_run.folder / "sheet.pdf").read_bytes().startswith(b"%PDF-")


def test_junit_is_well_formed_and_tells_the_reason(hostile_run: Ended) -> None:
    """XML 1.0, 2.2: most control characters cannot stand in a document at all; a parser refuses them."""
    file = hostile_run.folder / "junit.xml"
    ET.parse(file)
    suites = JUnitXml.fromfile(str(file))
    failures = [result.message for case in _cases(suites) for result in case.result]
    assert any("<script>" in str(message) for message in failures)


def _cases(suites: object) -> Iterator[object]:
    for part in suites:  # type: ignore[attr-defined]
        yield from part


SPEED = 20.0
HOSTING = bytes.fromhex("0200000000aa")
PROBE = bytes.fromhex("0200000000bb")


def test_a_page_is_not_reached_without_joining_its_network() -> None:
    """As on a desk, where the probe's namespace has no route to the unit: silence, told apart from a refusal."""
    with ExitStack() as stack:
        air = WorldProcess("air", {"speed": SPEED, "seed": 1})
        stack.callback(air.stop)
        thread = AirThread()
        stack.callback(thread.close)
        unit = Radio(air.port("port"), HOSTING, speed=SPEED, on_event=lambda _event: None)
        thread.run(unit.open())
        stack.callback(lambda: thread.run(unit.close()))
        thread.run(unit.host(HotspotPlan(b"mossgate-00aa", b"label key 1", 6, "203.0.113.1")))
        probe = VirtualProbe(Timeline(Clock(SPEED)), thread, air.port("port"), PROBE, seed=1)
        stack.callback(probe.close)
        lease = probe.join("mossgate-00aa", "label key 1", 15.0)
        assert lease is not None
        pages = Pages(lease.endpoint_url, lease.network, lease.address, limit_s=5.0)
        assert pages.get("http://203.0.113.1/").outcome == "refused"  # there, and serving nothing
        probe.leave()
        assert pages.get("http://203.0.113.1/").outcome == "silent"


def test_allure_results_are_json(hostile_run: Ended) -> None:
    results = list((hostile_run.folder / "allure-results").glob("*-result.json"))
    assert results
    for result in results:
        json.loads(result.read_text(encoding="utf-8"))
