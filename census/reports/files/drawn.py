"""The charts of the pages on paper: one geometry, two pens.

A chart is drawn once, as SVG (:mod:`inventory.doors.svg`); here its lines, shapes and words are drawn again
with the same numbers by reportlab. What a page draws in the ink of its text is black here; what it draws
faintly is grey and not see-through, so that every printer shows it.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Literal, TypeVar
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import fromstring  # type: ignore[import-untyped]
from reportlab.graphics.shapes import Circle, Drawing, Group, Line, Path, Rect, Shape, String
from reportlab.lib.colors import Color
from reportlab.pdfbase.pdfmetrics import stringWidth

from inventory.doors.printed import printable

FACE, BOLD = "Helvetica", "Helvetica-Bold"
SLANTED, BOLD_SLANTED = "Helvetica-Oblique", "Helvetica-BoldOblique"
_Stroked = TypeVar("_Stroked", Line, Rect, Circle, Path)
_Filled = TypeVar("_Filled", Rect, Circle, Path)
_SVG = "{http://www.w3.org/2000/svg}"
# Words of an image for who cannot see it; on paper the table says the same.
_SAID = frozenset({"title", "desc"})
_Anchor = Literal["start", "middle", "end"]
_ANCHORS: Mapping[str, _Anchor] = {"start": "start", "middle": "middle", "end": "end"}
# How much of a text stands before the place that it is anchored at.
_BEFORE: Mapping[str, float] = {"start": 0.0, "middle": 0.5, "end": 1.0}


def drawn(svg: str, width: float) -> Drawing:
    """The chart ``width`` points wide. Raises ValueError for a mark that this pen has not learned."""
    root = fromstring(svg)
    _, _, wide, high = (float(n) for n in root.attrib["viewBox"].split())
    drawing = Drawing(wide, high)
    letters = float(root.attrib["font-size"])
    for mark in root:
        name = mark.tag.removeprefix(_SVG)
        if name in _SAID:
            continue
        if name not in _MARKS:
            raise ValueError(f"a chart has a {name}, which cannot be drawn on paper; say how in drawn.py")
        drawing.add(_MARKS[name](mark, high, letters))
    scale = width / wide
    drawing.scale(scale, scale)
    drawing.width, drawing.height = width, high * scale
    return drawing


def _number(mark: Element, name: str) -> float:
    return float(mark.attrib[name])


def _ink(mark: Element, what: str, otherwise: str) -> Color | None:
    """Black, grey, or None where nothing is drawn."""
    if mark.attrib.get(what, otherwise) == "none":
        return None
    light = 1 - float(mark.attrib.get(f"{what}-opacity", 1))
    return Color(light, light, light)


def _stroked(shape: _Stroked, mark: Element) -> _Stroked:
    dash = [float(n) for n in mark.attrib.get("stroke-dasharray", "").split()]
    shape.strokeColor = _ink(mark, "stroke", "none")
    shape.strokeWidth = float(mark.attrib.get("stroke-width", 1))
    if dash:
        shape.strokeDashArray = dash
    return shape


def _filled(shape: _Filled, mark: Element) -> _Filled:
    shape.fillColor = _ink(mark, "fill", "")
    return _stroked(shape, mark)


def _line(mark: Element, high: float, letters: float) -> Shape:
    x1, y1, x2, y2 = (_number(mark, name) for name in ("x1", "y1", "x2", "y2"))
    return _stroked(Line(x1, high - y1, x2, high - y2), mark)


def _rect(mark: Element, high: float, letters: float) -> Shape:
    x, y, width, height = (_number(mark, name) for name in ("x", "y", "width", "height"))
    return _filled(Rect(x, high - y - height, width, height), mark)


def _circle(mark: Element, high: float, letters: float) -> Shape:
    return _filled(Circle(_number(mark, "cx"), high - _number(mark, "cy"), _number(mark, "r")), mark)


def _path(mark: Element, high: float, letters: float) -> Shape:
    """Straight lines from point to point, closed by a Z: the charts have no others."""
    path = _filled(Path(), mark)
    way = mark.attrib["d"]
    if not re.fullmatch(r"M[-\d. ]+(L[-\d. ]+)*Z?", way):
        raise ValueError(
            f"a chart has the way {way[:40]}, which cannot be drawn on paper; say how in drawn.py"
        )
    for place, point in enumerate(way.removeprefix("M").removesuffix("Z").split("L")):
        x, y = (float(n) for n in point.split())
        (path.lineTo if place else path.moveTo)(x, high - y)
    if way.endswith("Z"):
        path.closePath()
    return path


def _text(mark: Element, high: float, letters: float) -> Shape:
    """Piece after piece from where the whole begins: a string of this pen has one face."""
    bold = mark.attrib.get("font-weight") == "700"
    anchor = _ANCHORS[mark.attrib.get("text-anchor", "start")]
    x, y = _number(mark, "x"), high - _number(mark, "y")
    pieces = [(_printable(words), _face(bold, slanted)) for words, slanted in _pieces(mark) if words]
    if len(pieces) < 2:
        words, face = pieces[0] if pieces else ("", FACE)
        return String(x, y, words, fontName=face, fontSize=letters, textAnchor=anchor)
    widths = [stringWidth(words, face, letters) for words, face in pieces]
    x -= _BEFORE[anchor] * sum(widths)
    drawn = Group()
    for (words, face), width in zip(pieces, widths, strict=True):
        drawn.add(String(x, y, words, fontName=face, fontSize=letters))
        x += width
    return drawn


def _pieces(mark: Element) -> Iterator[tuple[str, bool]]:
    """What a text says, each piece with whether it is in italics."""
    yield mark.text or "", False
    for inside in mark:
        yield inside.text or "", inside.attrib.get("font-style") == "italic"
        yield inside.tail or "", False


def _printable(words: str) -> str:
    return printable(words.replace("\N{MINUS SIGN}", "-").replace("\N{RIGHTWARDS ARROW}", ">"))


def _face(bold: bool, slanted: bool) -> str:
    if slanted:
        return BOLD_SLANTED if bold else SLANTED
    return BOLD if bold else FACE


_MARKS: Mapping[str, Callable[[Element, float, float], Shape]] = {
    "line": _line,
    "rect": _rect,
    "circle": _circle,
    "path": _path,
    "text": _text,
}
