"""Where the contracts are held: on the virtual bench's parts everywhere, on real ones in the lab (`ci/lab/run`), and on a desk.

A desk is the bench file of `--hil-bench`. What a test has at the other end there is the desk's own: its probe joins its access
point, its camera sees its lamp, its unit's console tells a start. A test that has no such end says so and is skipped.
"""

import pytest
from support.desk import DESK, Desk, desk_of, place_of

from hil.core.errors import InputError
from hil.core.verdicts import EXIT_WRONG_INPUT


def pytest_configure(config: pytest.Config) -> None:
    """Read the bench file, if one is given."""
    config.addinivalue_line("markers", "beyond_desk(why): what only the virtual bench or the lab has at the other end")
    try:
        config.stash[DESK] = desk_of(config)
    except InputError as error:
        pytest.exit(str(error), returncode=EXIT_WRONG_INPUT)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Hold each test in one place."""
    if "place" in metafunc.fixturenames:
        metafunc.parametrize("place", [place_of(metafunc.config)], indirect=True)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Skip on a desk what it has no other end for."""
    if config.stash[DESK]:
        for item in items:
            for marker in item.iter_markers("beyond_desk"):
                item.add_marker(pytest.mark.skip(reason=marker.args[0]))


@pytest.fixture
def place(request: pytest.FixtureRequest) -> str:
    """Where: `virtual`, `lab` or `desk`."""
    named: str = request.param
    return named


@pytest.fixture
def desk(request: pytest.FixtureRequest) -> Desk:
    """The desk; for a test that is held there."""
    given = request.config.stash[DESK]
    assert given is not None
    return given


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In the lab nothing has a reason to be skipped: that would look like a contract held."""
    told = session.config.pluginmanager.getplugin("terminalreporter")
    if place_of(session.config) == "lab" and told is not None and told.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
