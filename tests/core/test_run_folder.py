"""A run's folder: written whole or not at all, readable wherever a run was killed. SHA-256 held against `sha256sum`
(coreutils) where it is there."""

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.moments import Moment
from hil.core.run_folder import LegRecord, RunFolder, RunInfo
from hil.core.timeline import Timeline


def info() -> RunInfo:
    leg = LegRecord("form_saved", "", 1, 10.0, 20.0, "setup (defaults)", "connected", "connected", 12.0, False)
    return RunInfo("s-1", "2026-03-14T09:12:31+01:00", "0.1.0", ["test_a.py::test_a"], False, legs=[leg])


@pytest.fixture
def run(tmp_path: Path) -> RunFolder:
    return RunFolder(tmp_path / "run").make()


def test_the_record_reads_back_as_it_was(run: RunFolder) -> None:
    written = info()
    written.facts = {"unit": {"serial number": "MV2-1", "Gehäuse": "weiß"}}
    run.write_info(written)
    assert run.read_info() == written
    assert run.read_info().complete is False


def test_a_record_half_written_never_takes_the_place_of_a_whole_one(
    run: RunFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    run.write_info(info())

    def refuse(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", refuse)
    changed = info()
    changed.sheet_number = "s-2"
    with pytest.raises(OSError, match="No space"):
        run.write_info(changed)
    assert run.read_info().sheet_number == "s-1"


@pytest.mark.parametrize("content", [None, "", "{", "[]", "{}", '{"legs": 3}', '{"legs": [{"name": "x"}]}', '"x"'])
def test_what_is_no_record_is_refused_with_file_and_remedy(run: RunFolder, content: str | None) -> None:
    file = run.path / "run.json"
    if content is not None:
        file.write_text(content, encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        run.read_info()
    assert str(refusal.value).startswith(str(file))
    assert "not the record of a run" in str(refusal.value)
    assert "Name a folder under reports/." in str(refusal.value)


def test_a_torn_last_line_is_left_out_and_all_before_it_kept(run: RunFolder) -> None:
    timeline = Timeline(Clock(), run.timeline)
    moments = tuple(timeline.add("air", "beacon", time_s=float(n), name=f"n{n}") for n in range(3))
    timeline.close()
    whole = run.timeline.read_bytes()
    last = len(whole.splitlines()[-1]) + 1
    for kept in range(last - 1):
        run.timeline.write_bytes(whole[: len(whole) - last + kept])
        assert run.read_moments() == moments[:2]
    run.timeline.write_bytes(whole[:-1])
    assert run.read_moments() == moments


@pytest.mark.parametrize("break_", ["\u2028", "\u2029", "\u0085", "\x0b", "\x0c", "\x1c", "\x1d", "\x1e", "\r", "\n"])
def test_what_a_unit_says_cannot_break_a_line(run: RunFolder, break_: str) -> None:
    """Python's `str.splitlines` splits at all of these; only the line feed ends a line of JSON lines."""
    timeline = Timeline(Clock(), run.timeline)
    said = timeline.add("console", "line", time_s=1.0, text=f"Traceback{break_}(most recent call last)")
    after = timeline.add("console", "line", time_s=2.0, text="next")
    timeline.close()
    assert run.read_moments() == (said, after)


def test_octets_that_are_no_utf8_spoil_one_moment_at_most(run: RunFolder) -> None:
    good = Moment(1.0, 0.0, "air", "beacon")
    run.timeline.write_bytes(b"\xff\xfe\x00\n" + good.to_line().encode() + b"\n")
    assert run.read_moments() == (good,)


def test_a_folder_in_which_nothing_happened_reads_as_nothing(run: RunFolder) -> None:
    assert run.read_moments() == ()
    assert run.read_console() == b""
    assert run.read_page("01-form.body") == b""
    assert run.read_page("") == b""
    assert len(run.read_frames()) == 0


def test_console_and_pages_read_back_octet_for_octet(run: RunFolder) -> None:
    octets = bytes(range(256))
    run.console.write_bytes(octets)
    (run.pages / "01-form.body").write_bytes(octets)
    assert run.read_console() == octets
    assert run.read_page("01-form.body") == octets


def test_sums_are_of_every_file_but_themselves(run: RunFolder) -> None:
    run.write_info(info())
    (run.pages / "a.body").write_bytes(b"a")
    run.console.write_bytes(b"line\n")
    run.write_sums()
    run.write_sums()
    sums = json.loads((run.path / "sums.json").read_text(encoding="utf-8"))
    assert set(sums) == {"run.json", "pages/a.body", "console.raw"}
    # FIPS 180-4 by the standard library; "a" is well known: ca978112…
    assert sums["pages/a.body"] == hashlib.sha256(b"a").hexdigest()
    assert sums["pages/a.body"].startswith("ca978112ca1bbdcafac231b39a23dc4d")


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="coreutils are not here")
def test_sums_agree_with_sha256sum(run: RunFolder) -> None:
    run.write_info(info())
    run.console.write_bytes(bytes(range(256)) * 999)
    run.write_sums()
    sums = json.loads((run.path / "sums.json").read_text(encoding="utf-8"))
    listing = "".join(f"{digest}  {name}\n" for name, digest in sums.items())
    told = subprocess.run(
        ["sha256sum", "--check", "--strict"],
        input=listing,
        cwd=run.path,
        capture_output=True,
        text=True,
        check=False,
        timeout=30,
    )
    assert told.returncode == 0, told.stdout + told.stderr
