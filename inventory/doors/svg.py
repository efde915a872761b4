"""Small charts as SVG: scales, ticks and marks, in the ink of the page.

Everything is drawn in ``currentColor``, so that a chart reads by day, by night and on grey paper; what
differs is told by shape, dash and word, never by colour. A chart is one image to a screen reader, with a
title and a description, and stands above a table with the same figures. No style and no script, as the
content security policy asks.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from math import ceil, copysign, floor, log10

LETTERS = 11.0
"""Size of the letters, in units of a drawing 340 wide: readable on a telephone of 360 pixels."""

Point = tuple[float, float]

Cut = Callable[[str], Sequence[tuple[str, bool]]]
"""Cuts a text into pieces, each with whether it is in italics: the scientific names in it."""


def upright(text: str) -> Sequence[tuple[str, bool]]:
    """A text without names."""
    return [(text, False)]


@dataclass(frozen=True, slots=True)
class Scale:
    """Places values from ``low`` to ``high`` on the page from ``start`` to ``end``.

    ``signed_log``: by the logarithm of one more than the value, with its sign; zero stays in its place, and
    one and a thousand are seen on one page. ``whole``: what it places is counted, and has no tick at a half.
    """

    low: float
    high: float
    start: float
    end: float
    signed_log: bool = False
    whole: bool = False

    def __call__(self, value: float) -> float:
        low, high, here = (self._stretched(v) for v in (self.low, self.high, value))
        if high == low:
            return (self.start + self.end) / 2
        return self.start + (here - low) / (high - low) * (self.end - self.start)

    def ticks(self, most: int = 6) -> list[float]:
        """Round values within the scale, about ``most`` of them."""
        found = _decades(self.low, self.high) if self.signed_log else _even(self.low, self.high, most)
        return [value for value in found if value % 1 == 0] if self.whole else found

    def _stretched(self, value: float) -> float:
        return copysign(log10(1 + abs(value)), value) if self.signed_log else value


def _even(low: float, high: float, most: int) -> list[float]:
    """Steps of 1, 2 or 5 times a power of ten."""
    if high <= low:
        return [low]
    rough = (high - low) / most
    power = 10.0 ** floor(log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough * (1 - 1e-9))
    first = ceil(low / step - 1e-9)
    last = floor(high / step + 1e-9)
    return [round(place * step, 10) for place in range(first, last + 1)]


def _decades(low: float, high: float) -> list[float]:
    """Zero, and on either side 1, 2, 5, 10, 20 ... while they are few, else powers of ten, all or some."""
    reach = max(abs(low), abs(high), 1)
    powers = [10.0**place for place in range(floor(log10(reach)) + 1)]
    fine = [power * factor for power in powers for factor in (1, 2, 5)]
    found: list[float] = []
    for steps in (fine, powers, powers[1::2], powers[2::3]):
        values = [*(-step for step in reversed(steps)), 0.0, *steps]
        found = [value for value in values if low <= value <= high]
        if len(found) <= 7:
            break
    return found


def number(value: float) -> str:
    """A number at a tick: thousands apart, a true minus, no needless decimals."""
    return f"{value:,.10g}".replace("-", "\N{MINUS SIGN}")


@dataclass(slots=True)
class Drawing:
    """One chart. Marks are added in the order in which they cover each other; ``svg`` is the whole."""

    key: str
    """Tells the chart from others on its page."""
    title: str
    description: str
    width: float = 340
    height: float = 220
    cut: Cut = upright
    parts: list[str] = field(default_factory=list)

    def add(self, name: str, inside: str = "", /, **attributes: float | str) -> None:
        """Any element; ``_`` in a name of an attribute stands for a hyphen."""
        told = "".join(
            f' {key.replace("_", "-")}="{escape(_short(value))}"' for key, value in attributes.items()
        )
        self.parts.append(f"<{name}{told}>{inside}</{name}>" if inside else f"<{name}{told}/>")

    def text(self, x: float, y: float, words: str, *, anchor: str = "start", bold: bool = False) -> None:
        weight = {"font_weight": "700"} if bold else {}
        inside = "".join(
            f'<tspan font-style="italic">{escape(piece)}</tspan>' if slanted else escape(piece)
            for piece, slanted in self.cut(words)
        )
        self.add("text", inside, x=x, y=y, text_anchor=anchor, **weight)

    def line(
        self, one: Point, other: Point, *, dash: str = "", width: float = 1, faint: bool = False
    ) -> None:
        more: dict[str, float | str] = {"stroke_dasharray": dash} if dash else {}
        if faint:
            more["stroke_opacity"] = 0.25
        ends = {"x1": one[0], "y1": one[1], "x2": other[0], "y2": other[1]}
        self.add("line", **ends, stroke="currentColor", stroke_width=width, **more)

    def path(self, points: Sequence[Point], *, dash: str = "", width: float = 1.5) -> None:
        """A line through the points; one point draws nothing."""
        if len(points) > 1:
            more: dict[str, float | str] = {"stroke_dasharray": dash} if dash else {}
            d = "M" + "L".join(f"{_short(x)} {_short(y)}" for x, y in points)
            self.add("path", d=d, fill="none", stroke="currentColor", stroke_width=width, **more)

    def area(self, points: Sequence[Point]) -> None:
        """A faintly filled shape."""
        d = "M" + "L".join(f"{_short(x)} {_short(y)}" for x, y in points) + "Z"
        self.add("path", d=d, fill="currentColor", fill_opacity=0.1, stroke="none")

    def bar(self, x: float, y: float, width: float, height: float) -> None:
        self.add("rect", x=x, y=y, width=width, height=height, fill="currentColor", fill_opacity=0.45)

    def mark(self, shape: str, at: Point, *, told: str = "", size: float = 3.5, filled: bool = True) -> None:
        """A ``circle``, ``square``, ``triangle`` or ``diamond``; ``told`` is shown where a pointer rests."""
        x, y = at
        words = f"<title>{escape(told)}</title>" if told else ""
        fill = "currentColor" if filled else "none"
        if shape == "circle":
            self.add("circle", words, cx=x, cy=y, r=size, fill=fill, stroke="currentColor")
            return
        corners = [(x + dx * size, y + dy * size) for dx, dy in _SHAPES[shape]]
        d = "M" + "L".join(f"{_short(a)} {_short(b)}" for a, b in corners) + "Z"
        self.add("path", words, d=d, fill=fill, stroke="currentColor")

    def axes(self, across: Scale, down: Scale, *, below: str, beside: str, names: Iterable[str] = ()) -> None:
        """Both axes with their ticks and what they measure. ``names`` stand at 0, 1, 2 ... across."""
        left, right = sorted((across.start, across.end))
        top, bottom = sorted((down.start, down.end))
        for value in down.ticks():
            self.line((left, down(value)), (right, down(value)), faint=True)
            self.text(left - 4, down(value) + 4, number(value), anchor="end")
        named = list(names)
        # Names that would run into each other are left out, the newest kept.
        step = max(1, ceil(len(named) * 52 / max(1.0, right - left)))
        for place, name in enumerate(named):
            if (len(named) - 1 - place) % step == 0:
                self.text(across(place), bottom + 14, name, anchor="middle")
        for value in [] if named else across.ticks():
            self.line((across(value), bottom), (across(value), bottom + 3))
            self.text(across(value), bottom + 14, number(value), anchor="middle")
        self.line((left, bottom), (right, bottom))
        self.line((left, top), (left, bottom))
        self.text((left + right) / 2, bottom + 28, below, anchor="middle")
        self.text(2, top - 11, beside)

    @property
    def svg(self) -> str:
        """The chart as an element of a page."""
        names = f"{self.key}-title {self.key}-description"
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" '
            f'viewBox="0 0 {_short(self.width)} {_short(self.height)}" '
            f'width="100%" role="img" aria-labelledby="{names}" font-size="{_short(LETTERS)}" '
            'font-family="inherit" fill="currentColor" stroke="none">'
            f'<title id="{self.key}-title">{escape(self.title)}</title>'
            f'<desc id="{self.key}-description">{escape(self.description)}</desc>'
        )
        return head + "".join(self.parts) + "</svg>"


_SHAPES: dict[str, tuple[Point, ...]] = {
    "square": ((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)),
    "triangle": ((0, -1.2), (1.1, 0.8), (-1.1, 0.8)),
    "diamond": ((0, -1.3), (1.3, 0), (0, 1.3), (-1.3, 0)),
}


def _short(value: float | str) -> str:
    """A coordinate to a tenth of a unit, without a needless zero."""
    return value if isinstance(value, str) else f"{value:.1f}".removesuffix(".0")
