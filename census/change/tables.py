"""The report as a page shows it: figures with links to what is behind them, rows in groups."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from inventory.book.rules.words import signed, whole
from inventory.names.models import Taxon

from .queries.report import Report, Row, Rows, value_of
from .rules.arithmetic import Change
from .rules.columns import COLUMNS, HEADINGS
from .rules.question import By
from .rules.short import Short, short_form

# Figure of the short form, its heading, and whether it carries a sign.
_SHORT = (
    ("opening", "Opening", False),
    ("in", "In", False),
    ("out", "Out", False),
    ("found", "Found", False),
    ("unaccounted", "Unaccounted", False),
    ("between", "Moved", True),
    ("late", "Late", True),
    ("closing", "Closing", False),
)


_TIED = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True)
class Figure:
    """One cell: text, where its events are ("" when there is nothing behind it), css classes."""

    text: str
    href: str = ""
    css: str = "num"

    @property
    def cell(self) -> SafeString:
        """``<td>`` with the figure, and a link where there is something behind it."""
        if not self.href:
            return format_html('<td class="{}">{}</td>', self.css, self.text)
        return format_html('<td class="{}"><a href="{}">{}</a></td>', self.css, self.href, self.text)


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a table."""

    label: str
    taxon: Taxon | None
    figures: list[Figure]

    @property
    def cells(self) -> SafeString:
        """The figures as cells of a table.

        Made here: a page has thousands, and a template takes three times as long for each.
        """
        return mark_safe("".join(figure.cell for figure in self.figures))  # each is escaped


@dataclass(frozen=True, slots=True)
class Group:
    """Rows under one heading: phylum, class, family; or the place or source that they share."""

    heading: str
    lines: list[Line]


@dataclass(frozen=True, slots=True)
class UnitTable:
    """All rows of one unit, with their total. ``left`` rows stand on other pages."""

    unit: str
    headings: list[str]
    groups: list[Group]
    total: Line


def in_order(rows: Rows, by: By, sort: str) -> Rows:
    """Rows of the report by unit, then by classification, change or what is unexplained."""
    columns = rows.columns
    if sort == "change":
        return rows.in_order(rows.unit_ranks(), -abs(columns.closing - columns.opening))
    if sort == "unexplained":
        unexplained = abs(columns.amount("found")) + abs(columns.amount("unaccounted"))
        return rows.in_order(rows.unit_ranks(), -unexplained)
    if by is not By.TAXON:
        return rows.in_order(rows.unit_ranks())
    of_taxon = rows.taxon_ranks(lambda taxon: (*_classification(taxon), taxon.scientific_name))
    return rows.in_order(rows.unit_ranks(), of_taxon)


def unit_tables(
    report: Report, rows: Sequence[Row], *, asked: dict[str, str], full: bool, grouped: bool
) -> list[UnitTable]:
    """One table a unit for ``rows`` (a page of the report's), each with the unit's whole total.

    ``asked`` is the question as the address has it; links to events carry it on.
    """
    address = f"{reverse('change_events')}?{urlencode(asked)}"
    by = report.question.by
    tables = []
    for unit, of_unit in groupby(rows, key=lambda row: row.unit):
        groups = [
            Group(heading, [_line(row, by, address, full) for row in part])
            for heading, part in _grouped(of_unit, by, grouped)
        ]
        of_total = f"{address}&{urlencode({'unit': unit})}"
        total = report.totals[unit]
        figures = _figures(total, report.young_most(unit), of_total, full)
        headings = _full_headings() if full else [*(h for _, h, _ in _SHORT), "Change", "m.f.u", "Missing"]
        tables.append(UnitTable(unit, headings, groups, Line("", None, figures)))
    return tables


def _line(row: Row, by: By, address: str, full: bool) -> Line:
    selected: dict[str, Any] = {"unit": row.unit, "taxon": row.taxon.pk}
    if by is not By.TAXON:
        selected["group"] = row.key.group
    href = f"{address}&{urlencode(selected)}"
    return Line(row.label, row.taxon, _figures(row.change, row.young_most, href, full))


def _figures(change: Change, most: int, href: str, full: bool) -> list[Figure]:
    return list(_full(change, most, href) if full else _short(change, href))


def _short(change: Change, href: str) -> Iterator[Figure]:
    short = short_form(change)
    values = (
        *(short.opening, short.came_in, short.went_out, short.found, short.unaccounted),
        *(short.between, short.late, short.closing),
    )
    for (figure, _, sign), n in zip(_SHORT, values, strict=True):
        yield _number(n, f"{href}&figure={figure}", sign=sign)
    yield _change(short)
    yield Figure(change.closing_mfu.replace("-", "\N{MINUS SIGN}"), f"{href}&figure=closing")
    yield _number(change.missing, f"{href}&figure=missing")


def _change(short: Short) -> Figure:
    percent = short.percent
    text = signed(short.change)
    if percent is not None and short.change:
        text += f" ({signed(round(percent))} %)" if abs(percent) >= 1 else " (under 1 %)"
    return Figure(text, css=f"num {_direction(short.change)}".strip())


def _full_headings() -> list[str]:
    headings = [HEADINGS[column].capitalize() for column in COLUMNS]
    young = COLUMNS.index("died_within_30_days")
    # Words that belong together stay together: the column is narrow.
    headings[young] = f"Died within 30{_TIED}days: at{_TIED}least (at{_TIED}most)"
    headings[COLUMNS.index("died")] = "Died, the others"
    return headings


def _full(change: Change, most: int, href: str) -> Iterator[Figure]:
    for column in COLUMNS:
        value = value_of(change, column)
        if column.endswith("_mfu"):
            text = value.replace("-", "\N{MINUS SIGN}")
            yield Figure(text, f"{href}&figure={column.removesuffix('_mfu')}")
        elif column == "died_within_30_days" and most:
            yield Figure(f"{whole(value)} ({whole(most)})", f"{href}&figure={column}")
        else:
            yield _number(value, f"{href}&figure={column}", sign=column == "late")


def _number(n: int, href: str, *, sign: bool = False) -> Figure:
    """A zero has nothing behind it worth a link, and is shown all the same."""
    if not n:
        return Figure("0", css="num faded")
    text = signed(n) if sign else whole(n)
    return Figure(text, href, f"num {_direction(n)}".strip() if sign else "num")


def _direction(n: int) -> str:
    return "more" if n > 0 else "less" if n < 0 else ""


def _grouped(rows: Iterator[Row], by: By, grouped: bool) -> Iterator[tuple[str, list[Row]]]:
    if not grouped or by is By.LOT:
        yield "", list(rows)
        return
    key = _classification if by is By.TAXON else None
    for heading, part in groupby(rows, key=lambda row: key(row.taxon) if key else (row.label,)):
        yield ", ".join(name for name in heading if name), list(part)


def _classification(taxon: Taxon) -> tuple[str, str, str]:
    return (taxon.phylum, taxon.class_name, taxon.family)
