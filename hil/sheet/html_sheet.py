"""The sheet as one HTML file that needs nothing else: no script, no network; its pictures are inline SVG."""

from collections.abc import Sequence
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from hil.sheet.palette import as_names
from hil.sheet.report import Report

HERE = Path(__file__).parent


def html_sheet(report: Report) -> str:
    """Render a report."""
    return rendered("sheet.html.j2", ("sheet.css",), report=report)


def rendered(template: str, styles: Sequence[str], **values: object) -> str:
    """Render a template of ours. Every text is escaped; only pictures drawn by `Drawing` go in as they are."""
    environment = Environment(
        loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["drawn"] = Markup
    colours = "".join(f"--{name}:{value};" for name, value in as_names().items())
    sheets = "\n".join((HERE / name).read_text(encoding="utf-8") for name in styles)
    return environment.get_template(template).render(style=Markup(":root{" + colours + "}\n" + sheets), **values)
