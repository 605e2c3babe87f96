"""Fixtures for all our tests."""

import fcntl
import json
import os
import signal
from collections.abc import Callable
from pathlib import Path
from tempfile import mkdtemp

import pytest
from support.host import HOST
from support.runs import Ended, Printed, accept, undisturbed

pytest_plugins = ["pytester"]

RELEASE_S = 600.0
FAST_BOARDS = {"board", "micropython_board", "sensor"}


def pytest_configure() -> None:
    """Hear Ctrl-C: a shell that starts the tests in the background has it ignored, and so would all that they start."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Have a test of a board with a fast clock done anew, twice at most, where it failed while the host stood still."""
    for item in items:
        if isinstance(item, pytest.Function) and FAST_BOARDS & set(item.fixturenames):
            item.add_marker(pytest.mark.flaky(reruns=2, condition=HOST.stood_still))


@pytest.fixture(scope="session")
def good_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of one good run of the release profile on the virtual bench; never change it, copy it.

    HIL_GOOD_RUN may name the folder of a run recorded before.
    """
    kept = os.environ.get("HIL_GOOD_RUN")
    if kept:
        return Path(kept)
    return _once(tmp_path_factory, "release", _record_release).folder


@pytest.fixture(scope="session")
def quick_accept(tmp_path_factory: pytest.TempPathFactory) -> Printed:
    """One good run of the quick profile, and what `hil accept` printed of it."""
    return _once(tmp_path_factory, "quick", _record_quick)


@pytest.fixture(scope="session")
def quick_run(quick_accept: Printed) -> Path:
    """Its folder; never change it, copy it."""
    return quick_accept.folder


def _once(factory: pytest.TempPathFactory, name: str, record: Callable[[Path], Printed]) -> Printed:
    """Record once a session. Workers side by side have a common folder, as have sessions for which HIL_COMMON_RUNS names one.

    The first to come records for all.
    """
    folder = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    folder = Path(os.environ.get("HIL_COMMON_RUNS", folder))
    with (folder / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        known = folder / f"{name}.json"
        if not known.exists():
            run = record(Path(mkdtemp(prefix=name, dir=folder)))
            known.write_text(json.dumps([str(run.folder), run.out]), encoding="utf-8")
        path, out = json.loads(known.read_text(encoding="utf-8"))
        return Printed(Path(path), out)


def _record_release(folder: Path) -> Printed:
    return _passed(accept("--profile", "release", cwd=folder, limit_s=RELEASE_S))


def _record_quick(folder: Path) -> Printed:
    return _passed(undisturbed(cwd=folder))


def _passed(ended: Ended) -> Printed:
    assert ended.code == 0, f"the good unit did not pass:\n{ended.out}{ended.err}"
    return Printed(ended.folder, ended.out)
