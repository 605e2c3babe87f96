"""JUnit results, read by junitparser: a reader that had no part in writing them."""

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from junitparser import Error, Failure, JUnitXml, Skipped

from hil.core.verdicts import Finding, Verdict
from hil.judge.results import CheckResult
from hil.sheet.junit import junit_xml

if TYPE_CHECKING:
    from tests.sheet.conftest import Run


def test_counts_and_kinds_are_those_of_the_verdicts(mixed_run: "Run") -> None:
    suites = JUnitXml.fromstring(junit_xml(mixed_run.info, mixed_run.results, mixed_run.verdict))
    (suite,) = list(suites)
    kinds = [tuple(type(end) for end in case.result) for case in suite]
    assert kinds.count((Failure,)) == 1
    assert kinds.count((Error,)) == 3  # two unjudged, one not reached
    assert kinds.count((Skipped,)) == 1
    assert kinds.count(()) == 20
    for whole in (suites, suite):
        assert (whole.tests, whole.failures, whole.errors, whole.skipped) == (25, 1, 3, 1)


def test_types_tell_unjudged_from_not_reached(mixed_run: "Run") -> None:
    (suite,) = list(JUnitXml.fromstring(junit_xml(mixed_run.info, mixed_run.results, mixed_run.verdict)))
    ends = {case.name: case.result[0] for case in suite if case.result}
    assert ends["test_wrong_key.py::test_farewell"].type == "unjudged"
    assert ends["test_update.py::test_update_with_wrong_key"].type == "not reached"
    assert ends["test_wrong_key.py::test_hotspot_returns"].type == "fail"
    assert "31.02 ± 0.15 s" in ends["test_wrong_key.py::test_hotspot_returns"].text


def test_time_stamp_host_and_times_are_as_the_schema_wants_them(mixed_run: "Run") -> None:
    (suite,) = list(JUnitXml.fromstring(junit_xml(mixed_run.info, mixed_run.results, mixed_run.verdict)))
    assert suite.timestamp == "2026-03-14T08:12:31"  # no zone (windyroad JUnit.xsd): 09:12:31+01:00 in UTC
    assert suite.hostname == "bench"
    assert suite.time == pytest.approx(262.0)
    assert all(case.time is not None for case in suite)


@pytest.mark.parametrize("began", ["", "yesterday"])
def test_a_run_without_a_readable_time_is_still_written(mixed_run: "Run", began: str) -> None:
    info = replace(mixed_run.info, began=began)
    assert len(list(JUnitXml.fromstring(junit_xml(info, mixed_run.results, mixed_run.verdict)))) == 1


def test_what_xml_cannot_hold_is_shown_as_an_escape(mixed_run: "Run") -> None:
    text = "\x00\x1b[2J\ufffe\ud800 <b>&]]>"  # XML 1.0, 2.2: none of the first four is a character of XML
    finding = Finding(Verdict.FAIL, text, text)
    result = CheckResult(text, text, (text,), (), Verdict.FAIL, (finding,), reason=text)
    (suite,) = list(JUnitXml.fromstring(junit_xml(mixed_run.info, [result], Verdict.FAIL)))
    (case,) = list(suite)
    assert case.name == r"\x00\x1b[2J\ufffe\ud800 <b>&]]>"
    assert case.name in case.result[0].text
