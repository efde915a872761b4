"""Layout E: the yearly stock list, own animals and those of others in rows of their own."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from census.change.queries.reading import THE_HOUSE, RowKey, moments_of, row_function
from census.change.queries.remembered import remembered_reports
from census.change.queries.report import Report, Row
from census.change.rules.arithmetic import SEXES, Change, rows_of_cells, steps
from census.change.rules.figures import ELSEWHERE
from census.change.rules.question import By, Question
from inventory.book.queries.quantities import cell_balances, cell_ends, pair_flows
from inventory.book.rules.mfu import mfu

from ..rules.document import Block, Column, Document, Figure, Identity, Kind, Line, Part, Said, Table
from ..rules.said import Saying
from ..rules.stock_list import LATE, YOUNG, Heading, headings
from .asking import address_of, classified, figure, local_moment, mfu_figure, selected
from .columns import columns_in_use
from .head import Names, head_lines, names_of, present_only

MOST = "young_most"
OWN, OTHERS = "own", "on loan to the house"


@dataclass(slots=True)
class _More:
    """What the change does not keep of a row: flows by column and sex, and what of the end is elsewhere."""

    by_sex: dict[tuple[str, str], int] = field(default_factory=lambda: defaultdict(int))
    elsewhere: int = 0

    def add(self, other: "_More") -> None:
        for key, n in other.by_sex.items():
            self.by_sex[key] += n
        self.elsewhere += other.elsewhere


def stock_list(question: Question, saying: Saying) -> Document:
    """The list of the period, a calendar year as a rule. A constant number of queries."""
    question = replace(question, by=By.OWNER)
    report, house = remembered_reports(question, [By.OWNER, By.TAXON], zone=saying.zone)
    arranged = headings(columns_in_use())
    more = _more(report, saying)
    names = names_of({row.taxon.pk: row.taxon for row in report.rows}.values(), question, saying)
    asked = address_of(question, local_moment(question, saying))
    part = _part(report, arranged, more, names, asked)
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


def _part(
    report: Report,
    arranged: Sequence[Heading],
    more: Mapping[RowKey, _More],
    names: Names,
    asked: Mapping[str, str],
) -> Part:
    numbers = iter(range(1, 10**9))
    tables = [
        _table(
            unit,
            [row for row in report.rows if row.unit == unit],
            report=report,
            arranged=arranged,
            more=more,
            names=names,
            asked=asked,
            numbers=numbers,
        )
        for unit in report.totals
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


def _table(
    unit: str,
    rows: Sequence[Row],
    *,
    report: Report,
    arranged: Sequence[Heading],
    more: Mapping[RowKey, _More],
    names: Names,
    asked: Mapping[str, str],
    numbers: Iterator[int],
) -> Table:
    lines = [
        Line(
            number=next(numbers),
            name=names.of(row.taxon),
            label=OWN if row.label == THE_HOUSE else f"{OTHERS}: {row.label}",
            make=partial(
                _figures,
                row.change,
                row.young_most,
                more.get(row.key, _More()),
                arranged,
                {**asked, **selected(row, By.OWNER)},
            ),
            annex=tuple(row.key),
        )
        for row in sorted(rows, key=lambda row: (classified(row.taxon), row.label != THE_HOUSE, row.label))
    ]
    whole = _More()
    for row in rows:
        whole.add(more.get(row.key, _More()))
    total = _figures(report.totals[unit], report.young_most(unit), whole, arranged, {**asked, "unit": unit})
    return Table(unit, lines, total)


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
    numbers = [sum(more.by_sex.get((column, sex), 0) for column in heading.signs) for sex in SEXES]
    if not any(numbers):
        return ""
    apart = "died" in heading.signs and YOUNG not in heading.signs and change.flows[YOUNG]
    return f"{mfu(*numbers)} with the young" if apart else mfu(*numbers)


def _more(report: Report, saying: Saying) -> dict[RowKey, _More]:
    """Four queries."""
    question = report.question
    moments = moments_of(question, (report.opening, report.closing), saying.zone)
    pairs = pair_flows(since=moments.start, before=moments.end, known_at=moments.closing.at)
    closing = cell_balances(before=moments.end, known_at=moments.closing.at)
    cells = cell_ends({*closing, *(cell for pair in pairs for cell in (pair.from_cell, pair.to_cell))})
    rows = rows_of_cells(cells, row_function(question), question.scope)
    found: defaultdict[RowKey, _More] = defaultdict(_More)
    for pair in pairs:
        a, b = cells[pair.from_cell], cells[pair.to_cell]
        for row, column, n in steps(
            a, b, pair.n, rows=(rows[pair.from_cell], rows[pair.to_cell]), scope=question.scope
        ):
            sex = b.sex if a.cause or row == rows[pair.to_cell] else a.sex
            found[row].by_sex[column, sex] += n  # type: ignore[index]
    for cell, n in closing.items():
        row = rows.get(cell)
        if row is not None and cells[cell].off_site:
            found[row].elsewhere += n
    return found


def _said(report: Report, house: Report) -> list[Said]:
    """The owners together are the house by taxon."""
    return [
        Said(f"{words} of the house", "list", column, unit, figure(house.totals[unit], column, {}).number)
        for unit in report.totals
        for words, column in (("start", "opening"), ("end", "closing"), ("missing", "missing"))
    ]
