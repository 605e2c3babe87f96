"""Sessions of plain pytest with legs of a test's own, run in this process."""

import pytest
import scipy.special  # noqa: F401 - a session in this process forgets what it was the first to import; this comes but once

from hil.core.verdicts import Verdict
from hil.drive.driver import Driver
from hil.judge.results import CheckResult

HEAD = """
import pytest
from support.fake_bench import show
from hil.core.errors import BenchError
from hil.core.product import Bound
from hil.core.readings import Reading
from hil.core.stages import Anywhere, Connected, Off, Setup
from hil.evidence.seen import Seen
from hil.judge.needs import needs
from hil.legs.leg import leg

UPTO_30 = Bound(upper=30.0)

def costs(seconds):
    return lambda product: seconds
"""


def checks(*wanted: str) -> str:
    """The text of checks that pass: each is called `test_` and its first word, and takes the legs named after it."""
    return "".join(_check(name, legs or [name]) for name, *legs in (words.split() for words in wanted))


def _check(name: str, legs: list[str]) -> str:
    return f"""
@needs("power")
def test_{name}({", ".join(legs)}, judge):
    {legs[-1]}.power.last_on()
    judge.holds(Seen(True, "x"), "y")
"""


class Sessions:
    """Runs a file of tests, and keeps what its run came to."""

    def __init__(self, pytester: pytest.Pytester) -> None:
        self.pytester = pytester
        self.drivers: list[Driver] = []
        self.results: list[CheckResult] = []
        self.verdicts: list[Verdict] = []

    def run(self, text: str, *arguments: str) -> pytest.RunResult:
        """Run a file of tests in this process."""
        self.pytester.makepyfile(test_it=HEAD + text)
        return self.pytester.runpytest_inprocess("-p", "no:cacheprovider", *arguments)

    @property
    def of(self) -> dict[str, tuple[str, int]]:
        """Each check's verdict and takes, by the name of its function."""
        return {r.name.rpartition("::")[2]: (str(r.verdict), r.takes) for r in self.results}

    @property
    def driven(self) -> list[str]:
        """The legs driven, in order."""
        return [f"{leg.name}[{leg.parameter}]" if leg.parameter else leg.name for leg in self.drivers[-1].info.legs]
