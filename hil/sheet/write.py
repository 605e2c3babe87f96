"""The outputs of a run: `sheet.html`, `sheet.pdf` and `junit.xml`."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from hil.core.run_folder import RunInfo
from hil.core.verdicts import Verdict
from hil.evidence.window import Record
from hil.judge.results import CheckResult
from hil.sheet.differences import PassedRun
from hil.sheet.html_sheet import html_sheet
from hil.sheet.junit import junit_xml
from hil.sheet.pdf_sheet import pdf_sheet
from hil.sheet.report import build_report


@dataclass(frozen=True, slots=True)
class Outputs:
    """Where the outputs of a run are."""

    html: Path
    pdf: Path
    junit: Path


def write_outputs(
    record: Record,
    info: RunInfo,
    results: Sequence[CheckResult],
    verdict: Verdict,
    into: Path,
    passed: Sequence[PassedRun] = (),
) -> Outputs:
    """Write sheet and results of a run into a folder, which is made if need be; `passed` are runs to compare failures with.

    Raises:
        OSError: the folder takes no files.
    """
    into.mkdir(parents=True, exist_ok=True)
    outputs = Outputs(into / "sheet.html", into / "sheet.pdf", into / "junit.xml")
    outputs.junit.write_bytes(junit_xml(info, results, verdict))
    report = build_report(record, info, results, verdict, passed)
    outputs.html.write_text(html_sheet(report), encoding="utf-8")
    outputs.pdf.write_bytes(pdf_sheet(report))
    return outputs
