"""What a good run of the release says of its updates, held against the virtual world's own truth of what was started.

The world writes down which image the chip starts, by the SHA-256 of its payload (`image` in `virtual/truth.jsonl`).
"""

import tomllib
from pathlib import Path

import pytest
from support.truth import Line, Truth

from hil.core.product import Product, load_product
from hil.core.run_folder import RunFolder
from hil.drive.recorded import read_record
from hil.evidence.update_cuts import Started, UpdateCutOutcome, UpdateCutsView
from hil.evidence.views import Gate, Views
from hil.evidence.window import Window
from hil.virtual.bench import MADE_HERE
from hil.virtual.board.image import SLOTS

HEAD_OCTETS = 44  # of an image, before its payload


@pytest.fixture(scope="module")
def outcomes(good_run: Path) -> tuple[UpdateCutOutcome, ...]:
    """The cuts of the run, as the evidence has them."""
    folder = RunFolder(good_run)
    info = folder.read_info()
    leg = next(leg for leg in info.legs if leg.name == "update_cut")
    record = read_record(folder, info, _product(folder))
    return UpdateCutsView(Views(Window(leg.name, leg.begin_s, leg.end_s, record), Gate())).outcomes()


def _product(folder: RunFolder) -> Product:
    return load_product(folder.product_file)


def payload_sums(good_run: Path) -> dict[str, str]:
    """The payload's SHA-256, as its image's head states it, by the version of the build."""
    sums = {}
    for name in ("build", "previous"):
        build = good_run / name / "build.toml"
        image = (good_run / name / "mv2.img").read_bytes()
        sums[tomllib.loads(build.read_text(encoding="utf-8"))["version"]] = image[12:HEAD_OCTETS].hex()
    return sums


def started(good_run: Path) -> list[Line]:
    """Every image that the chip started."""
    return [line for line in Truth(good_run).lines if line.what == "image"]


def test_what_started_after_each_cut_is_what_the_evidence_says(
    good_run: Path, outcomes: tuple[UpdateCutOutcome, ...]
) -> None:
    sums, images = payload_sums(good_run), started(good_run)
    assert len(outcomes) == 11
    for outcome in outcomes:
        cut = outcome.cut
        first = next(line for line in images if line.time_s > cut.off_s)
        assert outcome.started in (Started.OLD, Started.NEW)
        version = cut.from_version if outcome.started is Started.OLD else cut.to_version
        assert first.more["folder"] == sums[version], cut.words


def test_the_cuts_met_both_slots_and_left_old_and_new(good_run: Path, outcomes: tuple[UpdateCutOutcome, ...]) -> None:
    """A sweep that never switched, or only ever did, would prove little."""
    assert {outcome.started for outcome in outcomes} == {Started.OLD, Started.NEW}
    begin_s, end_s = outcomes[0].cut.on_s, outcomes[-1].cut.until_s
    assert {line.more["at"] for line in started(good_run) if begin_s <= line.time_s <= end_s} == set(SLOTS)


def test_cuts_came_while_the_image_was_written(good_run: Path, outcomes: tuple[UpdateCutOutcome, ...]) -> None:
    """At more than half of the cuts while sending, the unit had written between a third of that share and all of it."""
    programs = [
        line for line in Truth(good_run).lines if line.what == "flash program" and line.more["phase"] != "begin"
    ]
    good = 0
    sending = [outcome.cut for outcome in outcomes if outcome.cut.share is not None]
    for cut in sending:
        before = max((outcome.cut.on_s for outcome in outcomes if outcome.cut.on_s < cut.off_s), default=0.0)
        octets = sum(int(str(line.more["size"])) for line in programs if before < line.time_s <= cut.off_s + 0.05)
        size = len((good_run / "build" / "mv2.img").read_bytes())
        good += cut.share is not None and cut.share / 3.0 <= octets / size <= cut.share
    assert good > len(sending) / 2


def test_the_record_says_where_the_previous_build_is_from(good_run: Path) -> None:
    facts = RunFolder(good_run).read_info().facts
    assert facts["previous build"]["from"] == MADE_HERE
    assert facts["previous build"]["version"] != facts["build"]["version"]
    assert MADE_HERE in " ".join((good_run / "sheet.html").read_text(encoding="utf-8").split())
