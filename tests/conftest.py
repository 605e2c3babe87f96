"""Fixtures for all our tests."""

import fcntl
import os
from pathlib import Path

import pytest
from support.runs import hil

pytest_plugins = ["pytester"]

RELEASE_S = 600.0


@pytest.fixture(scope="session")
def good_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of one good run on the virtual bench, recorded once a session; never change it, copy it.

    While writing tests, HIL_GOOD_RUN may name the folder of a run recorded before.
    """
    kept = os.environ.get("HIL_GOOD_RUN")
    if kept:
        return Path(kept)
    # Workers side by side have folders of their own under a common one: the first to come records for all.
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    with (folder / "good.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        known = folder / "good.txt"
        if not known.exists():
            known.write_text(str(_record(tmp_path_factory.mktemp("good"))), encoding="utf-8")
        return Path(known.read_text(encoding="utf-8"))


def _record(folder: Path) -> Path:
    ended = hil("accept", "--profile", "release", cwd=folder, limit_s=RELEASE_S)
    assert ended.code == 0, f"the good unit did not pass:\n{ended.out}{ended.err}"
    return ended.folder
