"""JUnit results: failure is a fail, error is unjudged or not reached, skipped is not applicable.

There is no formal standard; the shape follows the widely used schema of the Ant tool (github.com/windyroad/JUnit-Schema).
"""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from xml.etree import ElementTree as ET

from hil.core.run_folder import RunInfo
from hil.core.verdicts import Finding, Verdict
from hil.judge.results import CheckResult
from hil.sheet.check_views import leg_name
from hil.sheet.wording import Wording, wording_for

HOST = "bench"  # the host's own name is nobody's business
_ENDS = {
    Verdict.FAIL: "failure",
    Verdict.UNJUDGED: "error",
    Verdict.NOT_REACHED: "error",
    Verdict.NOT_APPLICABLE: "skipped",
}


def junit_xml(info: RunInfo, results: Sequence[CheckResult], verdict: Verdict) -> bytes:
    """The results as JUnit XML.

    Times are unit seconds. A check's is that of the legs it rests on; checks share legs, so they do not add up.
    """
    wording = wording_for(info.facts)
    whole_s = max((leg.end_s for leg in info.legs), default=0.0) - min((leg.begin_s for leg in info.legs), default=0.0)
    counts = _counts(results) | {"time": f"{whole_s:.3f}"}
    root = ET.Element("testsuites", counts)
    head = {"name": wording.plain(info.sheet_number), "timestamp": _timestamp(info.began), "hostname": HOST}
    suite = ET.SubElement(root, "testsuite", head | counts)
    properties = ET.SubElement(suite, "properties")
    for name, value in {
        "verdict": verdict.value,
        "partial": "yes" if info.partial else "no",
        "began": info.began,
    }.items():
        ET.SubElement(properties, "property", {"name": name, "value": wording.plain(value)})
    for result in results:
        _add_case(suite, result, _leg_time_s(info, result), wording)
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text


def _counts(results: Sequence[CheckResult]) -> dict[str, str]:
    ends = Counter(_ENDS.get(result.verdict, "passed") for result in results)
    return {
        "tests": str(len(results)),
        "failures": str(ends["failure"]),
        "errors": str(ends["error"]),
        "skipped": str(ends["skipped"]),
    }


def _timestamp(began: str) -> str:
    """Coordinated universal time without a zone, as the schema wants it."""
    try:
        when = datetime.fromisoformat(began)
    except ValueError:
        return "1970-01-01T00:00:00"
    return (when.astimezone(UTC) if when.tzinfo else when).strftime("%Y-%m-%dT%H:%M:%S")


def _leg_time_s(info: RunInfo, result: CheckResult) -> float:
    return sum(leg.end_s - leg.begin_s for leg in info.legs if leg_name(leg) in result.legs)


def _add_case(suite: ET.Element, result: CheckResult, time_s: float, wording: Wording) -> None:
    case = ET.SubElement(
        suite,
        "testcase",
        {
            "name": wording.plain(result.name),
            "classname": wording.plain(".".join(result.legs)) or "run",
            "time": f"{time_s:.3f}",
        },
    )
    tag = _ENDS.get(result.verdict)
    if tag is None:
        return
    text = [_line(finding, wording) for finding in result.findings if finding.verdict is not Verdict.PASS]
    message = wording.plain(result.reason) or (text[0] if text else result.verdict.value)
    end = ET.SubElement(case, tag, {"message": message, "type": result.verdict.value})
    end.text = "\n".join([wording.plain(result.title), *text])


def _line(finding: Finding, wording: Wording) -> str:
    at = "" if finding.at_s is None else f" at {finding.at_s:.2f} s"
    limits = f" ({finding.limits})" if finding.limits else ""
    reading = f" [{finding.reading}]" if finding.reading else ""
    return wording.plain(f"promised: {finding.promised}{limits}; seen{at}: {finding.seen}{reading}")
