"""The shipped suite's checks, as pytest collects them, without driving anything."""

from collections.abc import Sequence

import pytest

from hil.cli.session import QUIET, SUITE


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
    """Collect the suite under some options of pytest and of the plug-in."""
    collected = _Collected()
    pytest.main([*QUIET, *SUITE, "--collect-only", *options], plugins=[collected])
    return collected.items
