"""A recorded run with one event taken away, one late and one too many: its sheet tells just that, leg by leg.

The alterations are made here (`support.alterations`), each in another leg, so what differs first in each is known.
"""

import re
import shutil
from pathlib import Path

from support.alterations import began_a_day_later, copy_run, say, take_away, tighten
from support.html_pages import tree_of, words_of
from support.runs import Ended, hil

LATE_S = 1.6  # more than is allowed for, and there are beacons left in the leg
TOO_TIGHT_S = 1.0  # so that the late one fails
TOLD = {
    "first start": (
        r"\+\d+\.\d s: hotspot on the air late, (\d+\.\d) s after the (.*); in the passed run (\d+\.\d) s after the (.*)"
    ),
    "form saved": r"\+\d+\.\d s: no address given to the unit; in the passed run \d\.\d s after the .*",
    "power cut": r"\+\d+\.\d s: start of the chip, \d+\.\d s after the .*; none in the passed run",
}


def test_the_sheet_of_an_altered_run_tells_the_alterations(quick_run: Path, tmp_path: Path) -> None:
    reports = tmp_path / "reports"
    shutil.copytree(quick_run, reports / quick_run.name, ignore=shutil.ignore_patterns("virtual", "build"))
    altered = copy_run(quick_run, reports / "altered")
    take_away(altered, "first_start", "air", "beacon", named="mossgate-", for_s=LATE_S)
    tighten(altered, "first_hotspot_s", TOO_TIGHT_S)
    take_away(altered, "form_saved", "access point", "leased")
    say(altered, "power_cut", "rst:0xc (SW_CPU_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)")
    began_a_day_later(altered)

    ended = hil("judge", str(altered), "--into", str(tmp_path / "judged"), cwd=tmp_path)
    assert ended.code == 1, ended.out
    told = differences(tmp_path / "judged" / "sheet.html")
    assert set(TOLD) <= set(told)
    for leg, pattern in TOLD.items():
        assert re.fullmatch(pattern, told[leg]), f"{leg}: {told[leg]}"
    late = re.fullmatch(TOLD["first start"], told["first start"])
    assert late
    assert late[2] == late[4]
    assert abs(float(late[1]) - float(late[3]) - LATE_S) < 0.3  # a beacon interval, and what rounding takes
    assert quick_run.name in words_of(tree_of((tmp_path / "judged" / "sheet.html").read_text(encoding="utf-8")))


def test_with_nothing_beside_it_the_verdicts_are_the_same(quick_run: Path, tmp_path: Path) -> None:
    """No verdict rests on the run beside: alone in its folder, the altered run has the same."""
    alone = copy_run(quick_run, tmp_path / "alone" / "altered")
    say(alone, "power_cut", "rst:0xc (SW_CPU_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)")
    ended: Ended = hil("judge", str(alone), "-k", "power_cut", cwd=tmp_path)
    assert ended.code == 1
    assert differences(alone / "judged" / "sheet.html") == {}


def differences(sheet: Path) -> dict[str, str]:
    """The first difference told of each leg."""
    said = words_of(tree_of(sheet.read_text(encoding="utf-8")))
    return {leg: text for text, leg in re.findall(r"First difference (.*?) In leg (.*?), take", said)}
