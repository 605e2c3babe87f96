"""A firmware repository's own legs and checks beside the shipped ones: those that could fool somebody are errors.

Judged by plain pytest on a stored run, as files in a folder of their own.
"""

from pathlib import Path

import pytest
from support.runs import plain_pytest
from support.verdicts import Outcomes, read_outcomes, verdicts_of

CONFTEST = '''
from hil.core.stages import Connected, Off
from hil.legs.leg import leg

@leg(begins=Connected(), ends=Off(), expected_s=lambda product: 1.0)
def storm(bench, product):
    """Nothing of the kind was driven."""

@leg(begins=Connected(), ends=Off(), expected_s=lambda product: 1.0, parameters=("north", "south"))
def wind(bench, product, parameter):
    """Nor this, from either side."""
'''
CHECKS = '''
import pytest
from hil.evidence.events import HotspotBeacon, PowerOn
from hil.evidence.seen import Seen
from hil.judge.needs import needs

BLANK = Seen(True, "as it seems to me")

@needs("air", "power")
def test_sound(first_start, product, judge):
    """A sound check: it shows that the others are errors for what they are."""
    judge.within(product.limits.first_hotspot_s, first_start.between(PowerOn, HotspotBeacon), "first beacon")

@needs("pages")
@pytest.mark.parametrize("setting", ["network", "opens_at", "a/b"])
def test_sound_for_each(first_start, product, judge, setting):
    """One check, several judgements."""
    rule = product.form.settings.get(setting)
    if rule is None:
        judge.not_promised(setting)
        return
    control = first_start.pages.control("form as shipped", rule)
    judge.holds(Seen(hasattr(control, "value"), str(control)), setting)

@needs("air")
def test_reads_what_it_did_not_name(first_start, judge):
    judge.holds(first_start.air.named(), "named")
    judge.holds(first_start.lamp.shows_in_order(["starting", "setup"]), "lamp")

@needs("air")
def test_times_what_it_did_not_name(first_start, product, judge):
    judge.within(product.limits.first_hotspot_s, first_start.between(PowerOn, HotspotBeacon), "first beacon")

@needs("air")
def test_never_judges(first_start):
    assert first_start.air.named().holds

def test_names_nothing(first_start, judge):
    judge.holds(BLANK, "all is well")

@needs("air", "probe")
def test_names_what_it_does_not_read(first_start, judge):
    judge.holds(first_start.air.named(), "named")

@needs("air")
def test_breaks(first_start, judge):
    judge.holds(first_start.air.named(), "named")
    raise ZeroDivisionError("of its own")

@needs("air")
def test_asserts_in_vain(first_start, judge):
    judge.holds(first_start.air.named(), "named")
    assert first_start.air.hotspot_name == "another"

@needs("air")
def test_leg_not_driven(storm, judge):
    judge.holds(storm.air.named(), "named")

@needs("air")
def test_leg_with_parameters_not_driven(wind, judge):
    judge.holds(wind.air.named(), "named")

@needs("air")
def test_one_leg_of_two(first_start, storm, judge):
    judge.holds(first_start.air.named(), "named")

def test_ordinary():
    assert True
'''
SOUND = {"test_sound": "pass"} | {
    f"test_sound_for_each[{setting}]": verdict
    for setting, verdict in {"network": "pass", "opens_at": "pass", "a/b": "not applicable"}.items()
}
ERRORS = {
    "test_reads_what_it_did_not_name": "The check reads 'lamp', which its @needs does not name",
    "test_times_what_it_did_not_name": "The check reads 'power', which its @needs does not name",
    "test_never_judges": "never calls judge",
    "test_names_nothing": "names no view in @needs",
    "test_names_what_it_does_not_read": "names probe in its @needs, and passes without reading that",
    "test_breaks": "ZeroDivisionError: of its own",
    "test_asserts_in_vain": "AssertionError",
}
NOT_DRIVEN = (
    "test_leg_not_driven",
    "test_leg_with_parameters_not_driven[north]",
    "test_leg_with_parameters_not_driven[south]",
    "test_one_leg_of_two",
)


@pytest.fixture(scope="module")
def repository(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A firmware repository with a leg and checks of its own."""
    folder = tmp_path_factory.mktemp("repository")
    (folder / "conftest.py").write_text(CONFTEST, encoding="utf-8")
    (folder / "test_own.py").write_text(CHECKS, encoding="utf-8")
    return folder


def run(repository: Path, quick_run: Path, *arguments: str) -> tuple[int, Outcomes]:
    """Judge the good run by the repository's own checks."""
    into = repository / "judged"
    options = ("--hil-run", str(quick_run), "--hil-into", str(into), "--junitxml", str(repository / "pytest.xml"))
    ended = plain_pytest(str(repository / "test_own.py"), *options, *arguments, cwd=repository)
    return ended.code, {name.partition("::")[2]: o for name, o in read_outcomes(into / "junit.xml").items()}


@pytest.fixture(scope="module")
def whole(repository: Path, quick_run: Path) -> tuple[int, Outcomes]:
    """All of them."""
    return run(repository, quick_run)


def test_sound_checks_are_judged(whole: tuple[int, Outcomes]) -> None:
    """A parametrised check is as many checks; the ordinary test is none of the sheet's."""
    _, outcomes = whole
    assert {name: outcomes[name].verdict for name in SOUND} == SOUND
    assert outcomes.keys() == SOUND.keys() | ERRORS.keys() | set(NOT_DRIVEN)


@pytest.mark.parametrize("check", ERRORS)
def test_a_check_that_could_fool_is_an_error(check: str, whole: tuple[int, Outcomes]) -> None:
    """It is unjudged, with what is wrong with it."""
    _, outcomes = whole
    assert outcomes[check].verdict == "unjudged"
    assert ERRORS[check] in outcomes[check].reason


@pytest.mark.parametrize("check", NOT_DRIVEN)
def test_a_leg_that_was_not_driven_is_not_reached(check: str, whole: tuple[int, Outcomes]) -> None:
    """Even where another leg of the check was."""
    _, outcomes = whole
    assert outcomes[check].verdict == "not reached"
    assert "was not driven" in outcomes[check].reason


def test_none_is_a_failure_of_the_unit(whole: tuple[int, Outcomes], repository: Path) -> None:
    """The run is unjudged, and JUnit's word for each, in pytest's own file too, is error."""
    code, outcomes = whole
    assert code == 3
    assert "fail" not in verdicts_of(outcomes).values()
    own = (repository / "pytest.xml").read_text(encoding="utf-8")
    assert f'errors="{len(ERRORS) + len(NOT_DRIVEN)}"' in own
    assert 'failures="0"' in own


def test_one_parameter_alone(repository: Path, quick_run: Path, whole: tuple[int, Outcomes]) -> None:
    """A part of a parametrised check has the verdict it has in the whole."""
    code, outcomes = run(repository, quick_run, "-k", "network or north")
    chosen = ("test_sound_for_each[network]", "test_leg_with_parameters_not_driven[north]")
    assert outcomes == {name: whole[1][name] for name in chosen}
    assert code == 3
