"""`hil route`: the order of legs in a terminal of 80 columns."""

from pathlib import Path

from support.runs import hil


def test_every_leg_of_a_release_is_told_with_its_parameter(tmp_path: Path) -> None:
    ended = hil("route", "--profile", "release", cwd=tmp_path, environment={"COLUMNS": "80"})
    assert ended.code == 0, ended.err
    assert "network_useless[other key]" in ended.out  # square brackets are no markup
    assert "hand_over" in ended.out.splitlines()[-3]
    assert max(len(line) for line in ended.out.splitlines()) <= 80


def test_a_selection_needs_fewer_legs(tmp_path: Path) -> None:
    ended = hil("route", "-k", "test_first_hotspot_in_time", cwd=tmp_path)
    assert "first_start" in ended.out
    assert "form_saved" not in ended.out
    assert "1 check, about" in ended.out
