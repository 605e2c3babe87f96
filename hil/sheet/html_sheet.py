"""The sheet as one HTML file that needs nothing else: no script, no network; its pictures are inline SVG."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from hil.sheet.palette import as_names
from hil.sheet.report import Report

HERE = Path(__file__).parent


def html_sheet(report: Report) -> str:
    """Render a report. Every text is escaped; only pictures drawn by `Drawing` go in as they are."""
    environment = Environment(
        loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["drawn"] = Markup
    colours = "".join(f"--{name}:{value};" for name, value in as_names().items())
    style = ":root{" + colours + "}\n" + (HERE / "sheet.css").read_text(encoding="utf-8")
    return environment.get_template("sheet.html.j2").render(report=report, style=Markup(style))
