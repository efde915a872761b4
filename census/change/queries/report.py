"""The population change report: one question, one answer, a constant number of queries."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from typing import Any

import numpy as np

from inventory.book.queries.names import PrintedNames, printed_names
from inventory.names.models import Taxon

from ..rules.arithmetic import Change
from ..rules.arrays import change_columns, moves_of, steps_of
from ..rules.columns import COLUMNS
from ..rules.question import By, Question
from ..rules.scopes import ScopeNumbers, scope_numbers, scopes_in_words
from .closings import Knowledge, knowledge
from .reading import Moments, Reading, group_labels, moments_of, read_book, read_books, rows_of
from .rows import Row, Rows, value_of
from .unhindered import without_collecting
from .young import Replay

__all__ = [
    "Report",
    "Row",
    "Rows",
    "change_report",
    "change_reports",
    "change_reports_of_periods",
    "value_of",
]


@dataclass(frozen=True, slots=True)
class Report:
    """The answer. Rows are sorted by label, name and unit.

    ``names`` are those printed, none: those of now. One row stands for all taxa of one printed name.
    ``moves``, of a report by place, are the animals of a unit that went from one place to another.
    """

    question: Question
    opening: Knowledge
    closing: Knowledge
    rows: Rows
    totals: dict[str, Change]
    names: PrintedNames | None = None
    opening_scopes: Mapping[str, ScopeNumbers] = field(default_factory=dict)
    closing_scopes: Mapping[str, ScopeNumbers] = field(default_factory=dict)
    moves: Mapping[tuple[str, int, int], int] = field(default_factory=dict)

    @property
    def scopes(self) -> list[tuple[str, str]]:
        """How this scope's totals hang together with those of the others, a line for each unit."""
        return scopes_in_words(self.opening_scopes, self.closing_scopes, self.question.scope)

    @property
    def untied(self) -> list[Row]:
        """Rows that do not tie; a report that is right has none."""
        return [self.rows[at] for at in np.flatnonzero(~self.rows.tied).tolist()]

    @property
    def named_untied(self) -> list[str]:
        """The rows that do not tie, as people name them."""
        return [row.name for row in self.untied]

    def young_most(self, unit: str) -> int:
        """The most deaths within 30 days of birth in all rows of a unit."""
        return int(self.rows.of_unit(unit).columns.young_most.sum())

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


def change_report(question: Question, *, zone: tzinfo) -> Report:
    """Answers ``question``. The house's days begin at midnight in ``zone``.

    Raises :class:`~inventory.book.queries.names.NoSuchNames` when it asks for names that are none.
    """
    return change_reports(question, [question.by], zone=zone)[0]


def change_reports(question: Question, groupings: Sequence[By], *, zone: tzinfo) -> list[Report]:
    """The same question by each of ``groupings``, out of one reading of the book."""
    with without_collecting():
        moments = moments_of(question, knowledge(question), zone)
        return _reports(question, groupings, moments, read_book(moments), zone)


def change_reports_of_periods(questions: Sequence[Question], *, zone: tzinfo) -> list[Report]:
    """The report of each question, in their order: for quarters that follow each other one reading."""
    if not questions:
        return []
    with without_collecting():
        moments = [moments_of(question, knowledge(question), zone) for question in questions]
        return [
            _reports(question, [question.by], of_period, reading, zone)[0]
            for question, of_period, reading in zip(questions, moments, read_books(moments), strict=True)
        ]


def _reports(
    question: Question, groupings: Sequence[By], moments: Moments, reading: Reading, zone: tzinfo
) -> list[Report]:
    names = printed_names(question.names, closing=moments.closing.version)
    taxa = names.taxa if names else Taxon.objects.in_bulk()
    scopes = (
        scope_numbers(reading.opened(), reading.ends),
        scope_numbers(reading.closing, reading.ends),
    )
    replay = Replay(question, moments, reading, zone)
    return [
        _report(replace(question, by=by), moments, reading, taxa, names, scopes=scopes, replay=replay)
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
    replay: Replay,
) -> Report:
    ends = reading.ends
    of_cells, words = rows_of(question, ends, names)
    steps = steps_of(reading.flows, ends, of_cells, question.scope)
    columns, tied = change_columns(
        opening=reading.opening,
        closing=reading.closing,
        late=reading.late,
        flows=reading.flows,
        steps=steps,
        young=replay.young_deaths(of_cells, rows_are_places=question.by is By.PLACE),
        ends=ends,
        rows=of_cells,
    )
    every = Rows(
        columns=columns,
        group=of_cells.group,
        taxon=of_cells.taxon,
        unit=of_cells.unit,
        tied=tied,
        steps=steps,
        units=ends.units,
        words=words,
        labels=group_labels(question, words),
        taxa=taxa,
    )
    # A row that only the reader knows is a row that does not tie.
    rows = every.at(np.flatnonzero(~columns.empty | ~tied).astype(np.int64))
    rows = rows.in_order(
        rows.label_ranks(), rows.taxon_ranks(lambda taxon: taxon.scientific_name), rows.unit_ranks()
    )
    return Report(
        question=question,
        opening=moments.opening,
        closing=moments.closing,
        rows=rows,
        totals=rows.totals(),
        names=names,
        opening_scopes=scopes[0],
        closing_scopes=scopes[1],
        moves=moves_of(reading.flows, ends, of_cells) if question.by is By.PLACE else {},
    )
