"""Runs the suite in a pytest session of our own, with our screen in place of pytest's."""

import shutil
import sys
from contextlib import suppress
from pathlib import Path

import pytest
from hil_fixtures.session import make_folder, new_folder_path

from hil.cli.screen import Screen
from hil.core.verdicts import EXIT_BENCH, EXIT_INTERRUPTED, EXIT_WRONG_INPUT

SUITE = ("--pyargs", "hil_acceptance")
# A verdict needs no traceback; pytest's own style reads and parses the suite for each check that is no pass.
QUIET = (
    "--tb=native",
    "-p",
    "no:cacheprovider",
    "-p",
    "no:warnings",
    "--capture=sys",
    "-c",
    "/dev/null",
    "--rootdir",
    ".",
)


def run_session(options: list[str], reports: Path | None = None) -> int:
    """Run it.

    Args:
        options: Options of the plug-in and of pytest.
        reports: Where a new run's folder is made; None where a recorded run is judged.

    Returns:
        The exit code.
    """
    screen = Screen(sys.stdout)
    if reports is None:
        return _code(pytest.main([*QUIET, *SUITE, *options], plugins=[screen]), screen)
    folder = make_folder(new_folder_path(reports))
    own = ["--hil-folder", str(folder.path), "--alluredir", str(folder.path / "allure-results")]
    code = _code(pytest.main([*QUIET, *SUITE, *own, *options], plugins=[screen]), screen)
    if (folder.path / "run.json").exists():
        with suppress(OSError):  # a disk that takes no more: has been said
            folder.write_sums()
    else:  # nothing was begun: leave nothing behind
        shutil.rmtree(folder.path, ignore_errors=True)
    return code


def _code(given: int | pytest.ExitCode, screen: Screen) -> int:
    """Our exit codes; what pytest itself refuses is wrong input or our bug, and has been said."""
    screen.say_trouble()
    if screen.interrupted:
        return EXIT_INTERRUPTED
    if given == pytest.ExitCode.NO_TESTS_COLLECTED:
        sys.stderr.write(
            "hil: -k: no check has a name that matches. Give a part of a name; `hil route` shows the legs.\n"
        )
    if given in (pytest.ExitCode.USAGE_ERROR, pytest.ExitCode.NO_TESTS_COLLECTED):
        return EXIT_WRONG_INPUT
    return EXIT_BENCH if given == pytest.ExitCode.INTERNAL_ERROR else int(given)
