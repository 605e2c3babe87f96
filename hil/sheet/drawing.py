"""A small writer of SVG pictures, the same for HTML and PDF: few shapes, no script, all text escaped by the XML library."""

import base64
from collections.abc import Sequence
from xml.etree import ElementTree as ET

from hil.core.text import printable

FONT = "Libertinus Serif, Linux Libertine, Georgia, Times New Roman, serif"

Point = tuple[float, float]
Attributes = dict[str, str | float]


class Drawing:
    """A picture being drawn: origin at the top left, lengths in units of its own width."""

    def __init__(self, width: float, height: float, says: str) -> None:
        """Begin a picture; `says` is what it tells to whoever cannot see it."""
        self.width, self.height = width, height
        self._root = ET.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {width:g} {height:g}",
                "role": "img",
                "aria-label": printable(says),
            },
        )

    def rectangle(self, left: float, top: float, width: float, height: float, fill: str, *, line: str = "none") -> None:
        """A filled box."""
        self._add("rect", x=left, y=top, width=width, height=height, fill=fill, stroke=line)

    def line(self, begin: Point, end: Point, colour: str, *, thick: float = 1.0, dashes: str = "") -> None:
        """A straight line."""
        more = {"stroke-dasharray": dashes} if dashes else {}
        (x1, y1), (x2, y2) = begin, end
        self._add("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=colour, **{"stroke-width": thick}, **more)

    def circle(self, middle: Point, radius: float, fill: str, *, line: str = "none") -> None:
        """A disc."""
        self._add("circle", cx=middle[0], cy=middle[1], r=radius, fill=fill, stroke=line)

    def polygon(self, corners: Sequence[Point], fill: str) -> None:
        """A filled shape."""
        self._add("polygon", points=_points(corners), fill=fill)

    def path(self, corners: Sequence[Point], colour: str, *, thick: float) -> None:
        """An open line through corners."""
        ends: Attributes = {"stroke-linecap": "round", "stroke-linejoin": "round", "stroke-width": thick}
        self._add("polyline", points=_points(corners), fill="none", stroke=colour, **ends)

    def text(
        self, at: Point, words: str, colour: str, *, size: float, anchor: str = "start", weight: str = "normal"
    ) -> None:
        """One line of text; `at` is on its base line."""
        style: Attributes = {"font-size": size, "text-anchor": anchor, "font-family": FONT, "font-weight": weight}
        self._add("text", x=at[0], y=at[1], fill=colour, **style).text = printable(words)

    def png(self, left: float, top: float, width: float, height: float, data: bytes) -> None:
        """A picture within the picture, carried along as data."""
        href = "data:image/png;base64," + base64.b64encode(data).decode("ascii")
        pixels = {"image-rendering": "pixelated", "preserveAspectRatio": "none"}
        self._add("image", x=left, y=top, width=width, height=height, href=href, **pixels)

    def _add(self, tag: str, **attributes: str | float) -> ET.Element:
        shown = {key: value if isinstance(value, str) else f"{value:.6g}" for key, value in attributes.items()}
        return ET.SubElement(self._root, tag, shown)

    def __str__(self) -> str:
        """The picture as SVG."""
        return ET.tostring(self._root, encoding="unicode")


def _points(corners: Sequence[Point]) -> str:
    return " ".join(f"{x:.6g},{y:.6g}" for x, y in corners)
