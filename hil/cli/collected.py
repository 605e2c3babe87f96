"""The shipped suite's checks, as pytest collects them, without driving anything."""

from collections.abc import Sequence

import pytest

from hil.cli.session import QUIET, SUITE
from hil.core.errors import OurBug


class _Collected:
    """Keeps what pytest collects, and keeps pytest silent."""

    def __init__(self) -> None:
        self.items: list[pytest.Item] = []

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self, config: pytest.Config) -> None:
        config.pluginmanager.unregister(name="terminalreporter")

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        self.items = list(session.items)


def collect(options: Sequence[str]) -> list[pytest.Item]:
    """Collect the suite under some options of pytest and of the plug-in. For the main thread: pytest hears signals.

    Raises:
        OurBug: pytest broke.
    """
    collected = _Collected()
    code = pytest.main([*QUIET, *SUITE, "--collect-only", *options], plugins=[collected])
    if code == pytest.ExitCode.INTERNAL_ERROR:
        raise OurBug("The suite could not be collected.")
    return collected.items
