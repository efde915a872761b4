"""Draws the charts of a census."""

from collections.abc import Sequence

from inventory.book.rules.days import short_month
from inventory.book.rules.words import signed, whole
from inventory.doors.svg import Drawing, Point, Scale
from inventory.names.rules.italics import Italics

from ..rules.charts import (
    LEFT,
    RIGHT,
    TOP,
    AccuracyPoint,
    DriftPoint,
    FunnelPoint,
    LossBar,
    LossMonth,
    accuracy_words,
    drift_words,
    funnel_edge,
    funnel_words,
    loss_words,
    month_words,
)
from ..rules.settings import CensusSettings

_SHAPES = {"A": "circle", "B": "square", "C": "triangle"}
_DASHES = {"A": "", "B": "6 3", "C": "2 3"}


def funnel(count_class: str, points: Sequence[FunnelPoint], settings: CensusSettings) -> str:
    """Count minus book against the book, with what the class tolerates. Inside: hollow; outside: filled,
    and those farthest out named where there is room."""
    drawing = Drawing(
        f"funnel-{count_class}",
        f"Class {count_class}: count minus book, against the book",
        f"{funnel_words(points)} The band is what the class tolerates. Both axes grow by powers of ten.",
        cut=Italics(point.name for point in points).cut,
    )
    edge = funnel_edge(count_class, [point.book for point in points], settings)
    reach = 1.3 * max([*(abs(point.difference) for point in points), *(allowed for _, allowed in edge), 1])
    across = Scale(0, edge[-1][0], LEFT, RIGHT, signed_log=True)
    down = Scale(-reach, reach, 180, TOP, signed_log=True)
    drawing.area(
        [(across(book), down(allowed)) for book, allowed in edge]
        + [(across(book), down(-allowed)) for book, allowed in reversed(edge)]
    )
    drawing.axes(across, down, below="the book at the count moment", beside="count minus book")
    drawing.line((LEFT, down(0)), (RIGHT, down(0)))
    for sign in (1, -1):
        edges = [(across(book), down(sign * allowed)) for book, allowed in edge]
        drawing.path(edges, dash="4 3", width=1)
    for point in points:
        numbers = f"{whole(point.count)} for {whole(point.book)}, {signed(point.difference)}"
        told = f"{point.line}, {point.name}: {numbers}"
        at = (across(max(0, point.book)), down(point.difference))
        drawing.mark(_SHAPES[count_class], at, told=told, filled=not point.inside)
    outside = sorted((p for p in points if not p.inside), key=lambda p: (-abs(p.difference), p.line))
    _named(
        drawing,
        [(across(max(0, p.book)), down(p.difference)) for p in points],
        [(p.name, (across(max(0, p.book)), down(p.difference))) for p in outside],
    )
    return drawing.svg


NAMED = 3
"""Of many outside their tolerance those farthest out have their names in the chart, all in the table."""
_LETTER = 6.2


def _named(drawing: Drawing, marks: Sequence[Point], wanted: Sequence[tuple[str, Point]]) -> None:
    """Writes names beside their marks, on the side with more room, over no mark and over no other name."""
    taken: list[tuple[float, float]] = list(marks)
    written = 0
    for name, (x, y) in wanted:
        long = _LETTER * len(name)
        left = x > (LEFT + RIGHT) / 2
        start = x - 7 - long if left else x + 7
        free = not any(
            start - 4 < a < start + long + 4 and abs(b - y) < 11 for a, b in taken if (a, b) != (x, y)
        )
        if written < NAMED and free and start >= LEFT and start + long <= RIGHT + 6:
            drawing.text(x - 7 if left else x + 7, y + 4, name, anchor="end" if left else "start")
            taken += [(start + step * _LETTER, y) for step in range(len(name) + 1)]
            written += 1


def drift(key: str, title: str, points: Sequence[DriftPoint], run: int) -> str:
    """Counts as points with their range, the book as steps; a dashed upright where the method changed."""
    drawing = Drawing(key, title, drift_words(points, run))
    numbers = [
        n for point in points for n in (point.book, point.value, point.low, point.high) if n is not None
    ]
    across = Scale(-0.5, max(0.5, len(points) - 0.5), LEFT, RIGHT)
    down = Scale(min(0, *numbers), 1.08 * max(1, *numbers), 180, TOP, whole=True)
    names = [point.census.removeprefix("CS-") for point in points]
    drawing.axes(
        across, down, below="census", beside="animals; line: the book; marks: the counts", names=names
    )
    # The book keeps its number until an event changes it: steps, half-way between the moments that are drawn.
    level = [(across(n + side), down(point.book)) for n, point in enumerate(points) for side in (-0.5, 0.5)]
    drawing.path(level)
    for n, point in enumerate(points):
        if point.breaks:
            drawing.line((across(n - 0.5), TOP), (across(n - 0.5), 180), dash="2 4")
            drawing.text(across(n - 0.5) + 3, TOP + 9, "other method")
        if point.value is None:
            continue
        if point.low is not None and point.high is not None:
            x = across(n)
            drawing.line((x, down(point.low)), (x, down(point.high)), width=1.5)
            for end in (point.low, point.high):
                drawing.line((x - 4, down(end)), (x + 4, down(end)), width=1.5)
        shape = "triangle" if point.at_least else "circle"
        least = "at least " if point.at_least else ""
        told = f"{point.census}: {least}{whole(point.value)}, book {whole(point.book)}"
        drawing.mark(shape, (across(n), down(point.value)), told=told)
    return drawing.svg


def accuracy(points: Sequence[AccuracyPoint]) -> str:
    """Lines inside tolerance in per cent, latest counts, one line for each class with its target."""
    censuses = list(dict.fromkeys(point.census for point in points))
    drawing = Drawing("accuracy", "Record accuracy by class over the censuses", accuracy_words(points))
    known = [point.latest for point in points if point.latest is not None]
    across = Scale(-0.5, max(0.5, len(censuses) - 0.5), LEFT, RIGHT - 22)
    down = Scale(min([*known, 80.0]) // 10 * 10, 100, 180, TOP)
    names = [name.removeprefix("CS-") for name in censuses]
    beside = f"lines inside tolerance, %; the axis begins at {down.low:g}"
    drawing.axes(across, down, below="census", beside=beside, names=names)
    ends: list[float] = []
    for count_class, shape in _SHAPES.items():
        series = [
            (across(censuses.index(point.census)), down(point.latest), point)
            for point in points
            if point.count_class == count_class and point.latest is not None
        ]
        drawing.path([(x, y) for x, y, _ in series], dash=_DASHES[count_class])
        for x, y, point in series:
            told = f"{point.census} class {count_class}: {point.latest:g} % of {point.lines} lines"
            drawing.mark(shape, (x, y), told=told)
        if series:
            # Letters at the end of each line, kept apart.
            y = series[-1][1] + 4
            while any(abs(y - other) < 11 for other in ends):
                y += 11
            ends.append(y)
            drawing.text(RIGHT - 14, y, count_class, bold=True)
    return drawing.svg


def losses(bars: Sequence[LossBar]) -> str:
    """Unexplained losses of each place per hundred of what it held, the highest first."""
    rated = [bar for bar in bars if bar.per_hundred]
    few = [bar for bar in bars if bar.few and bar.losses]
    height = TOP + 26.0 * max(1, len(rated) + len(few)) + 12
    drawing = Drawing("losses", "Unexplained losses per 100, by place", loss_words(bars), height=height)
    drawing.text(2, 12, "place, and unexplained losses in 100")
    most = max([bar.per_hundred or 0 for bar in rated], default=1)
    across = Scale(0, most, 70, RIGHT - 46)
    for n, bar in enumerate(rated):
        y = TOP + 26 * n
        rate = bar.per_hundred or 0
        drawing.text(2, y + 14, bar.place, bold=True)
        drawing.bar(70, y + 3, across(rate) - 70, 15)
        drawing.text(
            across(rate) + 5, y + 14, f"{rate:g}" + ("" if bar.unit == "animal" else f" ({bar.unit})")
        )
    for n, bar in enumerate(few, start=len(rated)):
        y = TOP + 26 * n
        unit = "" if bar.unit == "animal" else f" ({bar.unit})"
        drawing.text(2, y + 14, bar.place, bold=True)
        drawing.text(70, y + 14, f"{whole(bar.losses)} of {whole(bar.held)}{unit}: too few for a share")
    if not rated and not few:
        drawing.text(2, TOP + 14, "none")
    return drawing.svg


def months(points: Sequence[LossMonth]) -> str:
    """Unexplained losses of each month as marks, with the span that chance alone makes of such a number."""
    drawing = Drawing("loss-months", "Unexplained losses by month", month_words(points))
    names = list(dict.fromkeys(short_month(point.first_day) for point in points))
    across = Scale(-0.5, max(0.5, len(names) - 0.5), LEFT, RIGHT)
    down = Scale(0, 1.05 * max([1.0, *(point.span[1] for point in points)]), 180, TOP)
    drawing.axes(across, down, below="month", beside="losses: mark, and what chance alone makes", names=names)
    for point in points:
        x = across(names.index(short_month(point.first_day))) + (0 if point.unit == "animal" else 5)
        low, high = point.span
        told = f"{point.in_words}: {whole(point.losses)} {point.unit}, by chance {point.span_words}"
        drawing.line((x, down(low)), (x, down(high)), width=1)
        drawing.mark("circle" if point.unit == "animal" else "square", (x, down(point.losses)), told=told)
    return drawing.svg
