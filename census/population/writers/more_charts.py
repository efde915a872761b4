"""Draws more of the charts of the populations: what compares rows, days and lives."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta

from inventory.book.rules.days import day_in_words
from inventory.book.rules.words import signed, whole
from inventory.doors.svg import Cut, Drawing, Scale, number, upright

from ..rules.survival import Curve
from .charts import FOOT, LEFT, RIGHT, TOP, dated


def pairs(
    key: str, title: str, words: str, rows: Sequence[tuple[str, int, int]], *, cut: Cut = upright
) -> str:
    """Opening (hollow) and closing (filled) of each row, joined by a line; by the logarithm, and so said.

    Here and below ``cut`` finds the scientific names that the rows are named by.
    """
    drawing = Drawing(key, title, words, height=TOP + 30.0 * max(1, len(rows)) + 34, cut=cut)
    drawing.text(2, 12, "hollow: opening, filled: closing; axis by powers of ten")
    most = max([n for _, a, b in rows for n in (a, b)], default=1)
    across = Scale(
        min([0, *(n for _, a, b in rows for n in (a, b))]), max(1, most), 12, RIGHT - 60, signed_log=True
    )
    foot = TOP + 30.0 * len(rows) + 6
    for value in across.ticks():
        _up(drawing, across(value), len(rows))
        drawing.text(across(value), foot + 14, number(value), anchor="middle")
    for place, (name, opening, closing) in enumerate(rows):
        y = TOP + 30.0 * place
        drawing.text(2, y + 11, name)
        drawing.line((across(opening), y + 20), (across(closing), y + 20))
        drawing.mark(
            "circle",
            (across(opening), y + 20),
            told=f"{name}: opening {whole(opening)}",
            filled=False,
            size=4,
        )
        drawing.mark("circle", (across(closing), y + 20), told=f"{name}: closing {whole(closing)}", size=2.6)
        drawing.text(RIGHT, y + 23, signed(closing - opening), anchor="end")
    return drawing.svg


def _up(drawing: Drawing, x: float, rows: int) -> None:
    """A line of the scale, piece by piece at the marks of the rows: through their names nobody reads them."""
    for place in range(rows):
        drawing.line((x, TOP + 30.0 * place + 14), (x, TOP + 30.0 * place + 26), faint=True)


def calendar(
    told: tuple[str, str], deaths: Mapping[date, int], alarms: set[date], days: tuple[date, date]
) -> str:
    """Days as squares, a week across; dark is more, with the number in it; alarms are outlined."""
    first, last = days
    start = first - timedelta(days=first.weekday())
    weeks = (last - start).days // 7 + 1
    drawing = Drawing("calendar", *told, height=34 + 17.0 * weeks + 8)
    most = max([*deaths.values(), 1])
    for column, name in enumerate(("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")):
        drawing.text(88 + 34 * column + 16, 24, name, anchor="middle")
    for week in range(weeks):
        monday = start + timedelta(days=7 * week)
        y = 30 + 17.0 * week
        if week == 0 or monday.day <= 7:
            drawing.text(2, y + 12, _short_day(max(monday, first)))
        for column in range(7):
            day = monday + timedelta(days=column)
            if not first <= day <= last:
                continue
            n, x = deaths.get(day, 0), 88 + 34.0 * column
            drawing.add(
                "rect",
                f"<title>{day_in_words(day)}: {n}</title>",
                x=x,
                y=y,
                width=31,
                height=15,
                fill="currentColor",
                fill_opacity=0.08 if n <= 0 else 0.1 + 0.3 * min(n, most) / most,
            )
            if n:
                drawing.text(x + 15, y + 11.5, whole(n), anchor="middle", bold=True)
            if day in alarms:
                drawing.add(
                    "rect", x=x, y=y, width=31, height=15, fill="none", stroke="currentColor", stroke_width=2
                )
    return drawing.svg


def _short_day(day: date) -> str:
    """``6 Jul 2026``: a whole month would run into the squares."""
    return f"{day.day} {day:%b %Y}"


def survival(told: tuple[str, str], curve: Curve, days: float, at_risk: Callable[[float], int]) -> str:
    """The step curve with its 95 % band as dashed lines, and the number at risk below."""
    drawing = Drawing("survival", *told, height=248)
    across, down = Scale(0, max(days, 1), LEFT, RIGHT - 6), Scale(0, 1, FOOT, TOP)
    drawing.axes(across, down, below="days since arrival", beside="share alive; dashed: 95 % interval")
    line, low, high = [(across(0), down(1))], [], []
    now, lowest, highest = 1.0, None, None
    for step in curve.steps:
        x = across(step.time)
        line += [(x, down(now)), (x, down(step.survival))]
        if lowest is not None and highest is not None:
            low.append((x, down(lowest)))
            high.append((x, down(highest)))
        lowest, highest, now = step.low, step.high, step.survival
        if lowest is not None and highest is not None:
            low.append((x, down(lowest)))
            high.append((x, down(highest)))
    line.append((across(days), down(now)))
    if lowest is not None and highest is not None:
        low.append((across(days), down(lowest)))
        high.append((across(days), down(highest)))
    drawing.path(line, width=2)
    for side in (low, high):
        drawing.path(side, dash="3 3", width=1)
    drawing.text(2, 226, "at risk, just after each day:")
    for day in across.ticks():
        drawing.text(across(day), 242, str(at_risk(day)), anchor="middle")
    return drawing.svg


def ranges(
    key: str,
    title: str,
    words: str,
    rows: Sequence[tuple[str, float, float, float | None]],
    beside: str,
    *,
    cut: Cut = upright,
) -> str:
    """A point with its interval for each row; an interval without an upper end has an arrow."""
    drawing = Drawing(key, title, words, height=TOP + 30.0 * max(1, len(rows)) + 34, cut=cut)
    drawing.text(2, 12, beside)
    most = max([high if high is not None else 2 * at for _, at, _, high in rows], default=1) or 1
    across = Scale(0, most, 12, RIGHT - 16)
    foot = TOP + 30.0 * len(rows) + 6
    for value in across.ticks(5):
        _up(drawing, across(value), len(rows))
        drawing.text(across(value), foot + 14, f"{value:,.4g}", anchor="middle")
    for place, (name, at, low, high) in enumerate(rows):
        y = TOP + 30.0 * place
        drawing.text(2, y + 11, name)
        end = across(high) if high is not None else RIGHT - 8
        drawing.line((across(low), y + 20), (end, y + 20), width=1.5)
        if high is None:
            drawing.text(end, y + 24, "\N{RIGHTWARDS ARROW}")
        drawing.mark("circle", (across(at), y + 20), told=f"{name}: {at:.3g}", size=3)
    return drawing.svg


def sums(key: str, title: str, words: str, days: Sequence[tuple[date, float]], limit: float) -> str:
    """The sum of the watch day by day, and the limit at which it speaks, dashed."""
    drawing = Drawing(key, title, words)
    first, last = days[0][0], days[-1][0]
    across = Scale(first.toordinal(), last.toordinal() + 1, LEFT, RIGHT - 6)
    down = Scale(0, 1.15 * max(limit, *(n for _, n in days)), FOOT, TOP)
    dated(drawing, across, down, (first, last), "deaths above the usual, summed; dashed: the alarm")
    drawing.path([(across(day.toordinal()), down(n)) for day, n in days])
    drawing.line((LEFT, down(limit)), (RIGHT, down(limit)), dash="5 3")
    return drawing.svg
