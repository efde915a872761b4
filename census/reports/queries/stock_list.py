"""Layout E: the yearly stock list, own animals and those of others in rows of their own."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from census.change.queries.reading import THE_HOUSE
from census.change.queries.remembered import remembered_reports
from census.change.queries.report import Report, Rows
from census.change.rules.arithmetic import Change
from census.change.rules.columns import FLOW_COLUMNS
from census.change.rules.figures import ELSEWHERE
from census.change.rules.question import By, Question
from inventory.book.rules.columns import Numbers
from inventory.book.rules.mfu import mfu

from ..rules.document import Block, Column, Document, Figure, Identity, Kind, Line, Part, Said, Table
from ..rules.lines import MadeLines
from ..rules.said import Saying
from ..rules.stock_list import LATE, YOUNG, Heading, headings
from .asking import address_of, amount, classified, figure, local_moment, mfu_figure, selected
from .columns import columns_in_use
from .head import Names, head_lines, names_of, present_only

MOST = "young_most"
OWN, OTHERS = "own", "on loan to the house"


def stock_list(question: Question, saying: Saying) -> Document:
    """The list of the period, a calendar year as a rule. A constant number of queries."""
    question = replace(question, by=By.OWNER)
    report, house = remembered_reports(question, [By.OWNER, By.TAXON], zone=saying.zone)
    arranged = headings(columns_in_use())
    names = names_of(report.rows.named_taxa().values(), question, saying)
    asked = address_of(question, local_moment(question, saying))
    part = _part(report, arranged, names, asked)
    return Document(
        layout="stock-list",
        title=f"Yearly stock list, {saying.days(question.first_day, question.last_day)}",
        head=[
            *head_lines(
                report,
                report.totals,
                saying,
                estimates="none: every figure is the sum of whole animals in the book",
            ),
            ("form", "columns as the house arranged them; the first form is Great Britain's, from memory"),
            (
                "died within 30 days",
                "the least number that the book proves; the most stands beside it, and no sex is told",
            ),
            ("owners", "own, or who lent them; of the end: lent out by the house, in the hands of others"),
        ],
        parts=[part],
        questions=[question],
        said=_said(report, house),
        untied=[*report.named_untied, *house.named_untied],
        present_only=present_only(),
        notes=names.notes,
    )


def _part(report: Report, arranged: Sequence[Heading], names: Names, asked: Mapping[str, str]) -> Part:
    rows = report.rows
    own = np.array([int(word != THE_HOUSE) for word in rows.words or ()], dtype=np.int64)[rows.group]
    rows = rows.in_order(rows.unit_ranks(), rows.taxon_ranks(classified), own, rows.label_ranks())
    told = _Told(rows, rows.by_sex(), arranged, names, asked)
    tables = [
        _table(rows.units[int(rows.unit[first])], told, first, last, report)
        for first, last in rows.spans(rows.unit, 0, len(rows))
    ]
    columns = [
        Column("opening", "start of year"),
        Column("opening_mfu", "m.f.u", Kind.MFU, summed=False, under=True),
    ]
    for heading in arranged:
        kind = Kind.NUMBER if heading.sign else Kind.SIGNED
        columns.append(Column(heading.key, heading.words, kind))
        if YOUNG in heading.signs:
            columns.append(Column(MOST, "at most", under=True))
        else:
            columns.append(Column(f"{heading.key} m.f.u", "m.f.u", Kind.MFU, summed=False, under=True))
    columns += [
        Column("closing", "end of year"),
        Column("closing_mfu", "m.f.u", Kind.MFU, summed=False, under=True),
        Column("missing", "of end: missing"),
        Column("elsewhere", "of end: lent out"),
    ]
    ties = Identity(
        plus=("opening", *(one.key for one in arranged if one.sign >= 0)),
        minus=tuple(one.key for one in arranged if one.sign < 0),
        result="closing",
    )
    return Part("list", "Stock list", "owner", columns, [Block("Stock list", [], tables)], [ties])


@dataclass(frozen=True, slots=True)
class _Told:
    """The rows in their order, their flows by column, sex and row, and how they are told."""

    rows: Rows
    by_sex: Numbers
    arranged: Sequence[Heading]
    names: Names
    asked: Mapping[str, str]

    def line(self, first: int, at: int) -> Line:
        """The line of a row, told from the first of its table."""
        at += first
        row = self.rows[at]
        more = _More(self.by_sex[:, :, at], int(self.rows.columns.elsewhere[at]))
        return Line(
            number=at + 1,
            name=self.names.of(row.taxon),
            label=OWN if row.label == THE_HOUSE else f"{OTHERS}: {row.label}",
            make=partial(
                _figures,
                row.change,
                row.young_most,
                more,
                self.arranged,
                {**self.asked, **selected(row, By.OWNER)},
            ),
            annex=tuple(row.key),
        )

    def numbers(self, first: int, last: int) -> dict[str, Numbers]:
        """The numbers of these rows in whole columns."""
        part = self.rows.columns.at(slice(first, last))
        numbers = {name: part.amount(name) for name in ("opening", "closing", "missing", MOST, "elsewhere")}
        for heading in self.arranged:
            added = np.zeros(len(part), dtype=np.int64)
            for column, sign in heading.signs.items():
                added += sign * part.amount("late" if column == LATE else column)
            numbers[heading.key] = added
        return numbers


@dataclass(frozen=True, slots=True)
class _More:
    """What the change does not keep of a row: flows by column and sex, and what of the end is elsewhere."""

    by_sex: Numbers
    elsewhere: int


def _table(unit: str, told: _Told, first: int, last: int, report: Report) -> Table:
    more = _More(
        told.by_sex[:, :, first:last].sum(axis=2), int(told.rows.columns.elsewhere[first:last].sum())
    )
    asked = {**told.asked, "unit": unit}
    total = _figures(report.totals[unit], report.young_most(unit), more, told.arranged, asked)
    lines = MadeLines(last - first, partial(told.line, first))
    return Table(unit, lines, total, numbers=partial(told.numbers, first, last))


def _figures(
    change: Change, young_most: int, more: _More, arranged: Sequence[Heading], asked: Mapping[str, str]
) -> dict[str, Figure]:
    figures = {name: figure(change, name, asked) for name in ("opening", "closing", "missing")}
    figures["opening_mfu"] = mfu_figure(change, "opening", asked)
    figures["closing_mfu"] = mfu_figure(change, "closing", asked)
    figures[MOST] = Figure(young_most)
    figures["elsewhere"] = Figure(more.elsewhere, {**asked, "figure": ELSEWHERE} if more.elsewhere else None)
    for heading in arranged:
        figures[heading.key] = _added(change, heading, asked)
        figures[f"{heading.key} m.f.u"] = Figure(_by_sex(more, heading, change))
    return figures


def _added(change: Change, heading: Heading, asked: Mapping[str, str]) -> Figure:
    value = sum(
        sign * (change.late if column == LATE else change.flows[column])
        for column, sign in heading.signs.items()
    )
    return Figure(value, {**asked, "figure": "+".join(heading.signs)} if value else None)


def _by_sex(more: _More, heading: Heading, change: Change) -> str:
    """Empty where the book does not tell the sexes: of the young that died, and of a net. Where some deaths
    stand under another heading as those of young, the sexes are of the deaths of all ages, and it says so."""
    if heading.sign == 0 or (YOUNG in heading.signs and "died" not in heading.signs):
        return ""
    columns = [FLOW_COLUMNS.index(column) for column in heading.signs if column in FLOW_COLUMNS]
    numbers = more.by_sex[columns].sum(axis=0).tolist()
    if not any(numbers):
        return ""
    apart = "died" in heading.signs and YOUNG not in heading.signs and change.flows[YOUNG]
    return f"{mfu(*numbers)} with the young" if apart else mfu(*numbers)


def _said(report: Report, house: Report) -> list[Said]:
    """The owners together are the house by taxon, which has no total where they cancel."""
    return [
        Said(f"{words} of the house", "list", column, unit, amount(house.totals.get(unit, Change()), column))
        for unit in report.totals
        for words, column in (("start", "opening"), ("end", "closing"), ("missing", "missing"))
    ]
