"""Controls as a sheet tells them: a witness that slept is never called good."""

from dataclasses import replace
from typing import TYPE_CHECKING

from hil.core.moments import Moment
from hil.evidence.window import Record
from hil.sheet.controls import control_rows

if TYPE_CHECKING:
    from tests.sheet.conftest import Run


def told(run: "Run", moments: tuple[Moment, ...]) -> dict[str, str]:
    """The rows by witness."""
    record = Record(run.product, run.info.facts, moments, run.folder.read_frames, lambda _: b"", lambda: b"")
    return {row.label: row.value for row in control_rows(record, run.info.legs)}


def test_a_deaf_stretch_is_told_with_its_leg_and_all_else_is_good(mixed_run: "Run") -> None:
    rows = told(mixed_run, mixed_run.moments)
    assert "Asleep 203.4 to 207.9 s (leg 6)." in rows["Air monitor"]  # where its beacons were left out
    for witness in ("Power", "Access point", "Lamp camera", "Console"):
        assert "Good throughout, 7 legs." in rows[witness], witness


def test_without_a_control_every_witness_slept(mixed_run: "Run") -> None:
    rows = told(mixed_run, ())
    assert len(rows) == 5
    assert all("Asleep" in told and "and 4 more" in told for told in rows.values())


def test_no_leg_tells_nothing(mixed_run: "Run") -> None:
    run = replace(mixed_run, info=replace(mixed_run.info, legs=[]))
    assert told(run, run.moments) == {}
