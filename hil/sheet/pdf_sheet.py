"""The sheet as PDF, set by typst from the same report: the same report gives the same bytes."""

import json
from dataclasses import asdict
from pathlib import Path

import typst

from hil.core.errors import OurBug
from hil.sheet.palette import as_names
from hil.sheet.report import Report

SOURCE = Path(__file__).parent / "sheet.typ"


def pdf_sheet(report: Report) -> bytes:
    """Set a report. Texts travel as JSON, never as typst source; only typst's own fonts are used.

    Raises:
        OurBug: typst refuses the source.
    """
    data = json.dumps({"report": asdict(report), "colours": as_names()}, ensure_ascii=False)
    try:
        pdf = typst.compile(str(SOURCE), sys_inputs={"data": data}, ignore_system_fonts=True, format="pdf")
    except RuntimeError as error:
        raise OurBug(f"the sheet cannot be set as PDF: {error}.") from error
    return bytes(pdf)
