"""The population change report: one question, one answer, a constant number of queries."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from typing import Any

from inventory.book.queries.names import PrintedNames, printed_names
from inventory.names.models import Taxon

from ..rules.arithmetic import Change, closing_by_row, population_change, rows_of_cells, ties, totals_by_unit
from ..rules.columns import COLUMNS, FLOW_COLUMNS
from ..rules.question import By, Question
from ..rules.scopes import ScopeNumbers, scope_numbers, scopes_in_words
from .closings import Knowledge, knowledge
from .reading import Moments, Reading, RowKey, group_labels, moments_of, read_book, row_function
from .unhindered import without_collecting
from .young import young_deaths


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its group's label ("" by taxon), its taxon, its unit and its change.

    ``young_most`` is the most deaths that may have been within 30 days of birth; the least stands
    in the change. ``ties`` is False when the reader found another closing than the arithmetic.
    """

    key: RowKey
    label: str
    taxon: Taxon
    change: Change
    young_most: int
    ties: bool

    @property
    def unit(self) -> str:
        return self.key.unit

    @property
    def name(self) -> str:
        """Label, taxon and unit in one line."""
        return " ".join(part for part in (self.label, self.taxon.scientific_name, self.unit) if part)

    def value(self, column: str) -> Any:
        """What stands in a column of the contract."""
        return value_of(self.change, column)


@dataclass(frozen=True, slots=True)
class Report:
    """The answer. Rows are sorted by label, name and unit.

    ``names`` are those printed, none: those of now. One row stands for all taxa of one printed name.
    """

    question: Question
    opening: Knowledge
    closing: Knowledge
    rows: list[Row]
    totals: dict[str, Change]
    names: PrintedNames | None = None
    opening_scopes: Mapping[str, ScopeNumbers] = field(default_factory=dict)
    closing_scopes: Mapping[str, ScopeNumbers] = field(default_factory=dict)

    @property
    def scopes(self) -> list[tuple[str, str]]:
        """How this scope's totals hang together with those of the others, a line for each unit."""
        return scopes_in_words(self.opening_scopes, self.closing_scopes, self.question.scope)

    @property
    def untied(self) -> list[Row]:
        """Rows that do not tie; a report that is right has none."""
        return [row for row in self.rows if not row.ties]

    @property
    def named_untied(self) -> list[str]:
        """The rows that do not tie, as people name them."""
        return [row.name for row in self.untied]

    def young_most(self, unit: str) -> int:
        """The most deaths within 30 days of birth in all rows of a unit."""
        return sum(row.young_most for row in self.rows if row.unit == unit)

    def columns(self) -> tuple[str, ...]:
        """Columns of the contract, in order, with the first ones that the grouping asks for."""
        first = () if self.question.by is By.TAXON else (self.question.by.value,)
        return (*first, "name", "unit", *COLUMNS)

    def records(self) -> Iterator[dict[str, Any]]:
        """Rows by column, for files."""
        for row in self.rows:
            record = {column: row.value(column) for column in COLUMNS}
            record["name"] = row.taxon.scientific_name
            record["unit"] = row.unit
            record[self.question.by.value] = row.label
            yield record


def value_of(change: Change, column: str) -> Any:
    """The figure of a column; the two m.f.u columns are text."""
    return change.flows[column] if column in FLOW_COLUMNS else getattr(change, column)


def change_report(question: Question, *, zone: tzinfo) -> Report:
    """Answers ``question``. The house's days begin at midnight in ``zone``.

    Raises :class:`~inventory.book.queries.names.NoSuchNames` when it asks for names that are none.
    """
    return change_reports(question, [question.by], zone=zone)[0]


def change_reports(question: Question, groupings: Sequence[By], *, zone: tzinfo) -> list[Report]:
    """The same question by each of ``groupings``, out of one reading of the book."""
    with without_collecting():
        return _reports(question, groupings, zone)


def _reports(question: Question, groupings: Sequence[By], zone: tzinfo) -> list[Report]:
    known = knowledge(question)
    moments = moments_of(question, known, zone)
    names = printed_names(question.names, closing=known[1].version)
    reading = read_book(moments)
    taxa = names.taxa if names else Taxon.objects.in_bulk()
    scopes = (
        scope_numbers(reading.opened(), reading.cells),
        scope_numbers(reading.closing.items(), reading.cells),
    )
    return [
        _report(replace(question, by=by), moments, reading, taxa, names, scopes=scopes, zone=zone)
        for by in groupings
    ]


def _report(
    question: Question,
    moments: Moments,
    reading: Reading,
    taxa: Mapping[int, Taxon],
    names: PrintedNames | None,
    *,
    scopes: tuple[Mapping[str, ScopeNumbers], Mapping[str, ScopeNumbers]],
    zone: tzinfo,
) -> Report:
    row_by_cell = rows_of_cells(reading.cells, row_function(question, names), question.scope)
    changes = population_change(
        opening=reading.opening,
        flows=reading.flows,
        late=reading.late,
        cells=reading.cells,
        rows=row_by_cell,
        scope=question.scope,
    )
    read = closing_by_row(reading.closing, reading.cells, row_by_cell)
    # A row that only the reader knows would be a row that does not tie.
    for key in read:
        if key not in changes:
            changes[key] = Change()
    young = young_deaths(question, moments, reading, row_by_cell, zone)
    for key, change in changes.items():
        if key in young:
            change.set_young_deaths(young[key].least)
    tied = {key: ties(change, read.get(key)) for key, change in changes.items()}
    kept = [key for key, change in changes.items() if not change.empty or not tied[key]]
    labels = group_labels(question, kept)
    rows = [
        Row(
            key=key,
            label=labels[key.group],
            taxon=taxa[key.taxon_id],
            change=changes[key],
            young_most=young[key].most if key in young else 0,
            ties=tied[key],
        )
        for key in kept
    ]
    rows.sort(key=lambda row: (row.label, row.taxon.scientific_name, row.unit))
    return Report(
        question=question,
        opening=moments.opening,
        closing=moments.closing,
        rows=rows,
        totals=totals_by_unit((row.unit, row.change) for row in rows),
        names=names,
        opening_scopes=scopes[0],
        closing_scopes=scopes[1],
    )
