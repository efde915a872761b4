"""Layout A: by taxon, the base of all others, with every column of the full form."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from census.change.queries.remembered import remembered_report
from census.change.queries.report import Report, Rows
from census.change.rules.arithmetic import Change
from census.change.rules.arrays import ChangeColumns
from census.change.rules.columns import (
    BETWEEN_IN,
    BETWEEN_OUT,
    FLOW_COLUMNS,
    HEADINGS,
    IN_COLUMNS,
    OUT_COLUMNS,
)
from census.change.rules.figures import EVERY_WAY
from census.change.rules.question import By, Question
from census.change.rules.short import short_form
from inventory.book.rules.columns import Numbers

from ..rules.document import Block, Column, Document, Figure, Identity, Kind, Line, Part, Said, Table
from ..rules.lines import MadeLines
from ..rules.said import Saying
from .asking import address_of, classified, figure, figures_of, local_moment, mfu_figure, selected
from .head import Names, head_lines, names_of, present_only

SHORT = (
    Column("opening", "opening"),
    Column("opening_mfu", "m.f.u", Kind.MFU, summed=False, under=True),
    Column("in", "in"),
    Column("out", "out"),
    Column("found", "unexplained: found"),
    Column("unaccounted", "unexplained: unaccounted for"),
    Column("between", "moved and regrouped (net)", Kind.SIGNED),
    Column("late", "late from earlier period", Kind.SIGNED),
    Column("closing", "closing"),
    Column("closing_mfu", "m.f.u", Kind.MFU, summed=False, under=True),
    Column("change", "change", Kind.SIGNED),
    Column("percent", "per cent", Kind.PERCENT, summed=False, under=True),
    Column("missing", "of closing: missing"),
)
SHORT_TIES = (
    Identity(
        plus=("opening", "in", "found", "between", "late"), minus=("out", "unaccounted"), result="closing"
    ),
    Identity(plus=("opening", "change"), minus=(), result="closing"),
)
_SHORT_NUMBERS = ("opening", "in", "out", "found", "unaccounted", "between", "late", "closing", "missing")
_FULL_NUMBERS = ("opening", *FLOW_COLUMNS, "late", "closing")
_YOUNG = "died_within_30_days"
FULL = (
    Column("opening", "opening"),
    *(
        one
        for name in FLOW_COLUMNS
        for one in (
            (Column(name, HEADINGS[name]), Column("young_most", "at most", under=True))
            if name == _YOUNG
            else (Column(name, HEADINGS[name]),)
        )
    ),
    Column("late", "late from earlier period", Kind.SIGNED),
    Column("closing", "closing"),
)
FULL_TIES = (
    Identity(
        plus=("opening", *IN_COLUMNS, *BETWEEN_IN, "late"),
        minus=(*OUT_COLUMNS, *BETWEEN_OUT),
        result="closing",
    ),
)


def by_taxon(question: Question, saying: Saying) -> Document:
    """The report, the short form first and the full form behind it. A constant number of queries."""
    question = replace(question, by=By.TAXON)
    report = remembered_report(question, zone=saying.zone)
    names = names_of(report.rows.named_taxa().values(), question, saying)
    asked = address_of(question, local_moment(question, saying))
    rows = report.rows.in_order(report.rows.unit_ranks(), report.rows.taxon_ranks(classified))
    parts = [
        _part(title, shape, rows, report, names=names, asked=asked, before=before)
        for title, shape, before in (
            ("Short form", _SHORT_FORM, 0),
            ("Full form", _FULL_FORM, len(rows)),
        )
    ]
    return Document(
        layout="taxa",
        title=f"Population change by taxon, {saying.days(question.first_day, question.last_day)}",
        head=[
            *head_lines(
                report,
                report.totals,
                saying,
                estimates="none: every figure is the sum of whole animals in the book",
            ),
            ("per cent", "of the opening, where that is 20 or more; under 1 is told so; exact in files"),
        ],
        parts=parts,
        questions=[question],
        said=_said(report),
        untied=report.named_untied,
        present_only=present_only(),
        notes=names.notes,
    )


@dataclass(frozen=True, slots=True)
class _Form:
    """One of the two forms."""

    key: str
    columns: Sequence[Column]
    ties: Sequence[Identity]
    make: Callable[[Change, int, Mapping[str, str]], dict[str, Figure]]
    numbers: Callable[[ChangeColumns], dict[str, Numbers]]


def _part(
    title: str,
    form: _Form,
    rows: Rows,
    report: Report,
    *,
    names: Names,
    asked: Mapping[str, str],
    before: int,
) -> Part:
    """Rows stand by unit; ``before`` lines stand before the part."""

    def line(first: int, at: int) -> Line:
        at += first
        row = rows[at]
        return Line(
            number=before + at + 1,
            name=names.of(row.taxon),
            label="",
            make=partial(form.make, row.change, row.young_most, {**asked, **selected(row, By.TAXON)}),
            annex=tuple(row.key),
        )

    tables = []
    for first, last in rows.spans(rows.unit, 0, len(rows)):
        unit = rows.units[int(rows.unit[first])]
        columns = rows.columns.at(slice(first, last))
        total = form.make(report.totals[unit], report.young_most(unit), {**asked, "unit": unit})
        lines = MadeLines(last - first, partial(line, first))
        tables.append(Table(unit, lines, total, numbers=partial(form.numbers, columns)))
    return Part(form.key, title, "", form.columns, [Block(title, [], tables)], form.ties)


def short_figures(change: Change, asked: Mapping[str, str]) -> dict[str, Figure]:
    """The figures of the short form, each with its events."""
    short = short_form(change)
    figures = figures_of(change, _SHORT_NUMBERS, asked)
    figures["opening_mfu"] = mfu_figure(change, "opening", asked)
    figures["closing_mfu"] = mfu_figure(change, "closing", asked)
    figures["change"] = Figure(short.change, {**asked, "figure": EVERY_WAY} if short.change else None)
    figures["percent"] = Figure(short.percent)
    return figures


def _short(change: Change, young_most: int, asked: Mapping[str, str]) -> dict[str, Figure]:
    return short_figures(change, asked)


def _full(change: Change, young_most: int, asked: Mapping[str, str]) -> dict[str, Figure]:
    figures = figures_of(change, _FULL_NUMBERS, asked)
    figures["young_most"] = Figure(young_most)
    return figures


def short_numbers(columns: ChangeColumns) -> dict[str, Numbers]:
    """The numbers of the short form in whole columns."""
    numbers = {name: columns.amount(name) for name in _SHORT_NUMBERS}
    return {**numbers, "change": columns.closing - columns.opening}


def _full_numbers(columns: ChangeColumns) -> dict[str, Numbers]:
    return {name: columns.amount(name) for name in (*_FULL_NUMBERS, "young_most")}


_SHORT_FORM = _Form("short", SHORT, SHORT_TIES, _short, short_numbers)
_FULL_FORM = _Form("full", FULL, FULL_TIES, _full, _full_numbers)


def _said(report: Report) -> list[Said]:
    """Both forms say of each unit what the report says."""
    return [
        Said(f"{words} of the house, {key} form", key, column, unit, figure(total, column, {}).number)
        for unit, total in report.totals.items()
        for key in ("short", "full")
        for words, column in (("opening", "opening"), ("late", "late"), ("closing", "closing"))
    ]
