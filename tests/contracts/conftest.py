"""Where the contracts are held: on the virtual bench's parts everywhere, on the real ones in the lab (`ci/lab/run`)."""

import os

import pytest

IN_LAB = os.environ.get("LAB") == "1"
PLACES = ["lab"] if IN_LAB else ["virtual"]


@pytest.fixture(params=PLACES)
def place(request: pytest.FixtureRequest) -> str:
    """Where: `virtual` or `lab`."""
    named: str = request.param
    return named


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In the lab nothing has a reason to be skipped: that would look like a contract held."""
    told = session.config.pluginmanager.getplugin("terminalreporter")
    if IN_LAB and told is not None and told.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
