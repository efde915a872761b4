"""Draws the charts of the populations, in the ink of the page (see :mod:`inventory.doors.svg`)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from inventory.book.rules.words import signed, whole
from inventory.doors.svg import Cut, Drawing, Scale, number, upright

LEFT, RIGHT, TOP, FOOT = 40.0, 334.0, 26.0, 180.0


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of a waterfall or of a quarter: ``n`` signed; ``unexplained`` is striped."""

    name: str
    n: int
    unexplained: bool = False


def waterfall(
    key: str, title: str, opening: int, bars: Sequence[Bar], closing: int, *, units: str = "animals"
) -> str:
    """Opening, gains up, losses down, what is unexplained striped, closing; numbers on the bars."""
    told = ", ".join(f"{bar.name} {signed(bar.n)}" for bar in bars if bar.n)
    drawing = Drawing(
        key, title, f"Opening {whole(opening)}. {told or 'Nothing happened'}. Closing {whole(closing)}."
    )
    levels, level = [opening], opening
    for bar in bars:
        level += bar.n
        levels.append(level)
    row = 22.0
    drawing.height = TOP + row * (len(bars) + 2) + 8
    across = Scale(min(0, *levels), max(1, *levels), 120, RIGHT - 40)
    zero = across(0)
    drawing.line((zero, TOP - 4), (zero, drawing.height - 6), faint=True)
    drawing.text(2, 12, f"{units}, from zero; striped: unexplained")
    _end(drawing, "opening", opening, across, TOP)
    level = opening
    for place, bar in enumerate(bars, start=1):
        y = TOP + row * place
        ends = sorted((across(level), across(level + bar.n)))
        level += bar.n
        drawing.text(2, y + 12, bar.name)
        if bar.unexplained:
            _striped(drawing, ends[0], y + 1, ends[1] - ends[0], 14)
        else:
            drawing.bar(ends[0], y + 1, max(ends[1] - ends[0], 0.8), 14)
        drawing.text(ends[1] + 4, y + 12, signed(bar.n))
    _end(drawing, "closing", closing, across, TOP + row * (len(bars) + 1))
    return drawing.svg


def _end(drawing: Drawing, name: str, n: int, across: Scale, y: float) -> None:
    drawing.text(2, y + 12, name, bold=True)
    ends = sorted((across(0), across(n)))
    drawing.add(
        "rect",
        x=ends[0],
        y=y + 1,
        width=max(ends[1] - ends[0], 0.8),
        height=14,
        fill="currentColor",
        fill_opacity=0.8,
    )
    drawing.text(ends[1] + 4, y + 12, whole(n), bold=True)


def _striped(drawing: Drawing, x: float, y: float, width: float, height: float) -> None:
    drawing.add("rect", x=x, y=y, width=max(width, 0.8), height=height, fill="none", stroke="currentColor")
    at = x + 3
    while at < x + width:
        drawing.line((at, y + height), (min(at + 4, x + width), y), width=0.8)
        at += 4


@dataclass(frozen=True, slots=True)
class Counted:
    """A count on a day; ``least``: there were at least so many; ``part``: not all of it was counted."""

    day: date
    value: int
    low: int | None
    high: int | None
    least: bool
    part: bool
    breaks: bool
    told: str


def trend(
    told: tuple[str, str],
    book: Sequence[tuple[date, int]],
    counts: Sequence[Counted],
    days: tuple[date, date],
    restated: Sequence[tuple[date, str]] = (),
    *,
    units: str = "animals",
) -> str:
    """The book as a step line, counts as points with their range, a dashed upright where the method changed,
    a diamond on the axis at the end of a quarter that was restated; ``told`` are title and words."""
    first, last = days
    drawing = Drawing("trend", *told)
    numbers = [n for _, n in book]
    numbers += [n for one in counts for n in (one.value, one.low, one.high) if n is not None]
    across = Scale(first.toordinal(), last.toordinal() + 1, LEFT, RIGHT - 6)
    down = Scale(min(0, *numbers), 1.08 * max(1, *numbers), FOOT, TOP, whole=True)
    beside = f"{units}; line: the book{'; marks: counts' if counts else ''}"
    dated(drawing, across, down, (first, last), f"{beside}{'; diamond: restated' if restated else ''}")
    points = []
    before = book[0][1]
    for day, n in book:
        x = across(min(max(day.toordinal(), first.toordinal()), last.toordinal() + 1))
        points += [(x, down(before)), (x, down(n))]
        before = n
    points.append((across(last.toordinal() + 1), down(before)))
    drawing.path(points)
    for one in counts:
        x = across(one.day.toordinal())
        if one.breaks:
            drawing.line((x - 6, TOP), (x - 6, FOOT), dash="2 4")
        if one.low is not None and one.high is not None:
            drawing.line((x, down(one.low)), (x, down(one.high)))
            for end in (one.low, one.high):
                drawing.line((x - 4, down(end)), (x + 4, down(end)))
        drawing.mark(
            "triangle" if one.least else "circle", (x, down(one.value)), told=one.told, filled=not one.part
        )
    for day, words in restated:
        x = across(day.toordinal() + 1)
        drawing.line((x, FOOT - 10), (x, FOOT))
        drawing.mark("diamond", (x, FOOT - 10), told=words, size=4)
    return drawing.svg


def dated(drawing: Drawing, across: Scale, down: Scale, days: tuple[date, date], beside: str) -> None:
    """Axes of which the lower has the months that fit, the year under the first and under each new one."""
    first, last = days
    for value in down.ticks():
        drawing.line((LEFT, down(value)), (RIGHT, down(value)), faint=True)
        drawing.text(LEFT - 4, down(value) + 4, number(value), anchor="end")
    drawing.line((LEFT, FOOT), (RIGHT, FOOT))
    drawing.line((LEFT, TOP), (LEFT, FOOT))
    drawing.text(2, TOP - 11, beside)
    starts = [date(y, m, 1) for y in range(first.year, last.year + 1) for m in range(1, 13)]
    starts = [day for day in starts if first <= day <= last]
    step = next(s for s in (1, 3, 6, 12, 24, 60) if len(starts) <= 7 * s or s == 60)
    shown = [
        day for day in starts if (day.month - 1) % step == 0 and (step < 12 or day.year % (step // 12) == 0)
    ]
    year = 0
    for day in shown:
        x = across(day.toordinal())
        # In the middle of the tick, but never under the zero of the other axis or over the edge.
        anchor = "start" if x < LEFT + 14 else "middle" if x < RIGHT - 14 else "end"
        drawing.line((x, FOOT), (x, FOOT + 3))
        drawing.text(x, FOOT + 14, f"{day:%b}", anchor=anchor)
        if day.year != year:
            drawing.text(x, FOOT + 27, f"{day.year}", anchor=anchor)
        year = day.year


def flows(
    key: str,
    title: str,
    words: str,
    quarters: Sequence[tuple[str, Sequence[Bar]]],
    *,
    units: str = "animals",
) -> str:
    """Gains above zero, losses below, by quarter; at most six kinds: a shade or stripes tells
    the kind, and above or below zero whether it is a gain; the key is laid out so."""
    drawing = Drawing(key, title, words, height=262)
    up = [sum(bar.n for bar in bars if bar.n > 0) for _, bars in quarters]
    down_to = [sum(bar.n for bar in bars if bar.n < 0) for _, bars in quarters]
    across = Scale(-0.5, max(0.5, len(quarters) - 0.5), LEFT, RIGHT)
    # A little more than the longest bars, so that none runs into the frame.
    down = Scale(1.06 * min(-1, *down_to), 1.06 * max(1, *up), FOOT, TOP, whole=True)
    drawing.axes(
        across,
        down,
        below="quarter",
        beside=f"{units}: gains above, losses below",
        names=[n for n, _ in quarters],
    )
    for words_, line in (("above", 224.0), ("below", 242.0)):
        drawing.text(2, line, words_)
    width = min(26.0, 0.7 * (RIGHT - LEFT) / max(1, len(quarters)))
    shades: dict[str, float] = {}
    for place, (_, bars) in enumerate(quarters):
        above, below = 0, 0
        for bar in bars:
            shades.setdefault(bar.name, (0.75, 0.4, 0.12)[len(shades) % 3])
            if not bar.n:
                continue
            low, high = (above, above + bar.n) if bar.n > 0 else (below + bar.n, below)
            above, below = (high, below) if bar.n > 0 else (above, low)
            x, y, height = across(place) - width / 2, down(high), down(low) - down(high)
            if bar.unexplained:
                _striped(drawing, x, y, width, height)
            else:
                drawing.add(
                    "rect",
                    x=x,
                    y=y,
                    width=width,
                    height=height,
                    fill="currentColor",
                    stroke="currentColor",
                    fill_opacity=shades[bar.name],
                )
    drawing.line((LEFT, down(0)), (RIGHT, down(0)))
    kinds = list(
        dict.fromkeys(bar for _, bars in quarters for bar in (Bar(b.name, 0, b.unexplained) for b in bars))
    )
    for place, bar in enumerate(kinds):
        x, y = LEFT + 4 + (place % 3) * 96, 224 + (place // 3) * 18
        if bar.unexplained:
            _striped(drawing, x, y - 9, 12, 10)
        else:
            drawing.add(
                "rect",
                x=x,
                y=y - 9,
                width=12,
                height=10,
                fill="currentColor",
                stroke="currentColor",
                fill_opacity=shades.get(bar.name, 0.4),
            )
        drawing.text(x + 16, y, bar.name)
    return drawing.svg


def reach(numbers: Iterable[int]) -> tuple[int, int]:
    """From where to where an axis goes that holds all numbers: zero is always on it."""
    found = [0, *numbers]
    return min(found), max(1, *found)


def small(
    key: str,
    title: str,
    words: str,
    points: Sequence[tuple[str, int]],
    axis: tuple[int, int],
    *,
    cut: Cut = upright,
) -> str:
    """One small chart among several: closings of quarters, as steps. ``axis`` is the reach of its own
    numbers, or of those of all; ``cut`` finds the scientific names in its title."""
    drawing = Drawing(key, title, words, width=170, height=104, cut=cut)
    across, down = Scale(0, max(1, len(points) - 1), 36, 162), Scale(*axis, 76, 26)
    drawing.text(2, 12, title if len(title) < 30 else f"{title[:28]}\N{HORIZONTAL ELLIPSIS}")
    for value in sorted({0, *axis}):
        drawing.line((36, down(value)), (162, down(value)), faint=True)
        # An end of the axis that is too near to zero has no number of its own.
        if not value or abs(down(value) - down(0)) > 10:
            drawing.text(33, down(value) + 4, whole(value), anchor="end")
    ends = [(across(at), down(n)) for at, (_, n) in enumerate(points)]
    # A quarter's closing is what the book holds until the next event: steps, which end at the next closing.
    corners = [((x, before), (x, y)) for (_, before), (x, y) in pairwise(ends)]
    drawing.path([*ends[:1], *(corner for both in corners for corner in both)])
    for (name, n), at in zip(points, ends, strict=True):
        drawing.mark("circle", at, told=f"{name}: {whole(n)}", size=2)
    drawing.text(36, 94, points[0][0])
    drawing.text(162, 94, points[-1][0], anchor="end")
    return drawing.svg
