"""Layout C: closing numbers by quarter, and the flows of the house by kind, with whole years."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from itertools import count, pairwise

import numpy as np

from census.change.queries.remembered import remembered_periods
from census.change.queries.report import Report
from census.change.rules.arithmetic import Change
from census.change.rules.columns import BETWEEN_IN, BETWEEN_OUT, HEADINGS, IN_COLUMNS, OUT_COLUMNS, SIGNS
from census.change.rules.question import By, Question
from census.rounds.models import Line as CensusLine
from inventory.book.rules.columns import Numbers
from inventory.names.models import Taxon

from ..rules.document import Block, Column, Document, Figure, Identity, Kind, Line, Part, Said, Table
from ..rules.lines import MadeLines
from ..rules.quarters import Quarter, quarters_between, years_in
from ..rules.said import Saying
from .asking import address_of, classified, figure, local_moment, mfu_figure
from .head import Names, head_lines, names_of, present_only

_ROWS = ("opening", *IN_COLUMNS, *OUT_COLUMNS, *BETWEEN_IN, *BETWEEN_OUT, "late")
_WORDS = {"late": "late from earlier period (net)"}
_LATER = "entered late or proved later"


@dataclass(frozen=True, slots=True)
class _Column:
    """One quarter or year: its key, its words, its report, and its question as an address."""

    key: str
    words: str
    report: Report
    asked: Mapping[str, str]

    @property
    def restated(self) -> str:
        """``restated, version 2`` where the closing was issued again."""
        version = self.report.closing.version
        return f"restated, version {version.number}" if version and version.number > 1 else ""


def by_period(question: Question, saying: Saying) -> Document:
    """The report of every quarter that has a day in the period. Raises ValueError for more than twelve.

    The number of queries depends on the quarters, never on the rows.
    """
    quarters = quarters_between(question.first_day, question.last_day)
    question = replace(question, by=By.TAXON, first_day=quarters[0].first_day, last_day=quarters[-1].last_day)
    whole_years = years_in(quarters)
    spans = {one.words: (one.first_day, one.last_day) for one in quarters}
    spans |= {str(year): (date(year, 1, 1), date(year, 12, 31)) for year in whole_years}
    made = _columns(question, spans, saying)
    columns, years = made[: len(quarters)], dict(zip(whole_years, made[len(quarters) :], strict=True))
    reports = [column.report for column in columns]
    taxa = {pk: taxon for report in reports for pk, taxon in report.rows.named_taxa().items()}
    names = names_of(taxa.values(), question, saying)
    units = sorted({unit for report in reports for unit in report.totals})
    ruled, method = _method_changes(quarters, taxa)
    numbers_part = _numbers(columns, units, taxa, names=names, ruled=ruled)
    lines = sum(len(table.lines) for table in numbers_part.tables())
    flows = _flows(columns, years, units, count(lines + 1))
    whole = replace(
        reports[-1],
        question=question,
        opening=reports[0].opening,
        opening_scopes=reports[0].opening_scopes,
    )
    return Document(
        layout="periods",
        title=f"Population change by period, {saying.days(question.first_day, question.last_day)}",
        head=[
            *head_lines(
                whole, units, saying, estimates="none: every figure is the sum of whole animals in the book"
            ),
            (
                "restated",
                "; ".join(f"{one.words} ({one.restated})" for one in columns if one.restated) or "none",
            ),
            ("way of counting", "; ".join(method) or "no taxon changed its count class within the period"),
        ],
        parts=[numbers_part, flows],
        questions=[one.report.question for one in columns],
        said=_said(columns, units),
        untied=[name for report in reports for name in report.named_untied],
        present_only=present_only(),
        notes=names.notes,
    )


def _columns(question: Question, spans: Mapping[str, tuple[date, date]], saying: Saying) -> list[_Column]:
    """Quarters and years by their words; the book is read once for all that are not remembered."""
    asked = [replace(question, first_day=first, last_day=last) for first, last in spans.values()]
    return [
        _Column(words, words, report, address_of(one, local_moment(one, saying)))
        for words, one, report in zip(spans, asked, remembered_periods(asked, zone=saying.zone), strict=True)
    ]


@dataclass(frozen=True, slots=True)
class _Taxa:
    """The taxa of one unit in their order, and where each stands in the rows of every quarter; -1: nowhere.

    ``before`` is the number of lines of the tables before this one.
    """

    columns: Sequence[_Column]
    unit: str
    taxa: Sequence[Taxon]
    at: Sequence[Numbers]
    names: Names
    before: int

    def line(self, i: int) -> Line:
        taxon = self.taxa[i]
        changes = [
            one.report.rows.columns.change(int(at[i])) if at[i] >= 0 else None
            for one, at in zip(self.columns, self.at, strict=True)
        ]
        return Line(
            number=self.before + i + 1,
            name=self.names.of(taxon),
            label="",
            make=partial(_closings, self.columns, changes, {"unit": self.unit, "taxon": str(taxon.pk)}),
            annex=("", taxon.pk, self.unit),
        )

    def numbers(self) -> dict[str, Numbers]:
        """What the lines hold, in whole columns."""
        before = found = self._amount(0, "opening")
        numbers = {"opening": before}
        for i, one in enumerate(self.columns):
            found = self._amount(i, "closing")
            numbers |= {one.key: found, f"{one.key} change": found - before}
            before = found
        return numbers

    def _amount(self, quarter: int, figure: str) -> Numbers:
        of_row = self.columns[quarter].report.rows.columns.amount(figure)
        return np.append(of_row, 0)[self.at[quarter]]


def _taxa_of(
    columns: Sequence[_Column], unit: str, taxa: Mapping[int, Taxon], names: Names, before: int
) -> _Taxa:
    """All taxa that have a row of this unit in any quarter."""
    where = []
    for one in columns:
        rows = one.report.rows
        here = np.flatnonzero(rows.unit == rows.units.index(unit)) if unit in rows.units else _NOWHERE
        where.append(dict(zip(rows.taxon[here].tolist(), here.tolist(), strict=True)))
    every = dict.fromkeys(pk for of_quarter in where for pk in of_quarter)
    ordered = sorted(every, key=lambda pk: classified(taxa[pk]))
    at = [np.array([of_quarter.get(pk, -1) for pk in ordered], dtype=np.int64) for of_quarter in where]
    return _Taxa(columns, unit, [taxa[pk] for pk in ordered], at, names, before)


_NOWHERE: Numbers = np.zeros(0, dtype=np.int64)


def _numbers(
    columns: Sequence[_Column],
    units: Sequence[str],
    taxa: Mapping[int, Taxon],
    *,
    names: Names,
    ruled: set[str],
) -> Part:
    """Taxa by quarter: the closing number and its change."""
    tables: list[Table] = []
    above = 0
    for unit in units:
        told = _taxa_of(columns, unit, taxa, names, above)
        above += len(told.taxa)
        lines = MadeLines(len(told.taxa), told.line)
        total = _closings(columns, [one.report.totals.get(unit) for one in columns], {"unit": unit})
        tables.append(Table(unit, lines, total, numbers=told.numbers))
    shown = [
        Column("opening", f"held before {columns[0].words}"),
        Column("opening_mfu", "m.f.u", Kind.MFU, summed=False, under=True),
    ]
    for one in columns:
        shown.append(Column(one.key, one.words, mark=one.restated, ruled=one.words in ruled))
        shown.append(Column(f"{one.key} change", "change", Kind.SIGNED, under=True))
    shown.append(Column("closing_mfu", "m.f.u", Kind.MFU, summed=False, under=True))
    before = ["opening", *(one.key for one in columns)]
    ties = [
        Identity((earlier, f"{one.key} change"), (), one.key)
        for earlier, one in zip(before, columns, strict=False)
    ]
    return Part(
        "numbers", "Closing numbers", "", shown, [Block("Closing numbers by quarter", [], tables)], ties
    )


def _closings(
    columns: Sequence[_Column], changes: Sequence[Change | None], selected: Mapping[str, str]
) -> dict[str, Figure]:
    """A change is from one closing to the next: stock that is loaded as opening inside a quarter is in it."""
    first = changes[0] or Change()
    before = first.opening
    row = {"opening": figure(first, "opening", {**columns[0].asked, **selected})}
    row["opening_mfu"] = mfu_figure(first, "opening", {**columns[0].asked, **selected})
    row["closing_mfu"] = mfu_figure(changes[-1] or Change(), "closing", {**columns[-1].asked, **selected})
    for one, found in zip(columns, changes, strict=True):
        change = found or Change()
        row[one.key] = figure(change, "closing", {**one.asked, **selected})
        row[f"{one.key} change"] = Figure(change.closing - before)
        before = change.closing
    return row


def _flows(
    columns: Sequence[_Column], years: Mapping[int, _Column], units: Sequence[str], numbers: Iterator[int]
) -> Part:
    """The house's flows by kind; behind the fourth quarter of a whole year stands the year."""
    shown: list[Column] = []
    ties: list[Identity] = []
    for one in columns:
        shown.append(Column(one.key, one.words, mark=one.restated))
        year = one.report.question.first_day.year
        if year in years and one.words.endswith("Q4"):
            shown.append(Column(f"later {year}", _LATER, Kind.SIGNED))
            shown.append(Column(f"year {year}", f"year {year}"))
            four = tuple(f"{year} Q{n}" for n in (1, 2, 3, 4))
            ties.append(Identity((*four, f"later {year}"), (), f"year {year}", on_totals=False))
    tables = []
    for unit in units:
        lines = [
            Line(
                number=next(numbers),
                name=None,
                label=_WORDS.get(name, HEADINGS[name]),
                make=partial(_flow, columns, years, unit, name),
                sign=SIGNS[name],
                free=name == "opening",
            )
            for name in _ROWS
        ]
        tables.append(Table(unit, lines, _closing(columns, years, unit), "Closing"))
    words = (
        "Opening, plus everything in, less everything out, plus what came late, is the closing. A year is"
        f" read from the book by itself: under “{_LATER}” stands what its quarters say otherwise, for it was"
        " entered after its quarter was closed, or because a longer look proves more young."
    )
    return Part(
        "flows",
        "Flows by kind",
        "flow",
        shown,
        [Block("Flows of the house by kind", [], tables)],
        ties,
        words,
    )


def _flow(
    columns: Sequence[_Column], years: Mapping[int, _Column], unit: str, name: str
) -> dict[str, Figure]:
    row = {one.key: _of(one, unit, name) for one in columns}
    for year, one in years.items():
        row[f"year {year}"] = whole = _of(one, unit, name)
        quarters = sum(row[f"{year} Q{n}"].number for n in (1, 2, 3, 4))
        row[f"later {year}"] = Figure(None if name == "opening" else whole.number - quarters)
    return row


def _of(column: _Column, unit: str, name: str) -> Figure:
    return figure(column.report.totals.get(unit, Change()), name, {**column.asked, "unit": unit})


def _closing(columns: Sequence[_Column], years: Mapping[int, _Column], unit: str) -> dict[str, Figure]:
    """The closings; what was told in another quarter of the year comes to nothing."""
    row = {one.key: _of(one, unit, "closing") for one in columns}
    for year, one in years.items():
        row[f"year {year}"] = _of(one, unit, "closing")
        row[f"later {year}"] = Figure(0)
    return row


def _said(columns: Sequence[_Column], units: Sequence[str]) -> list[Said]:
    """Each quarter's closing is what the report of that quarter says by itself."""
    return [
        Said(
            f"closing of {one.words}", "numbers", one.key, unit, one.report.totals.get(unit, Change()).closing
        )
        for one in columns
        for unit in units
    ]


def _method_changes(quarters: Sequence[Quarter], taxa: Mapping[int, Taxon]) -> tuple[set[str], list[str]]:
    """Quarters in which a taxon was counted by another class than in its census before. One query."""
    ends = [one.last_day for one in quarters]
    classes: dict[int, dict[date, set[str]]] = defaultdict(lambda: defaultdict(set))
    for taxon_id, ends_on, count_class in (
        CensusLine.objects.filter(sheet__census__period__ends_on__in=ends, taxon__in=list(taxa))
        .exclude(count_class="")
        .values_list("taxon_id", "sheet__census__period__ends_on", "count_class")
        .order_by()
        .distinct()
    ):
        classes[taxon_id][ends_on].add(count_class)
    words = {one.last_day: one.words for one in quarters}
    ruled, said = set(), []
    for taxon_id, of_taxon in classes.items():
        days = sorted(of_taxon)
        for before, after in pairwise(days):
            if of_taxon[before] != of_taxon[after]:
                ruled.add(words[after])
                old, new = ("/".join(sorted(of_taxon[day])) for day in (before, after))
                name = taxa[taxon_id].scientific_name
                said.append(f"{name} counted by class {new} from {words[after]}, {old} before")
    return ruled, sorted(said)
