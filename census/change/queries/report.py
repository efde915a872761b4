"""The population change report: one question, one answer, a constant number of queries."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from functools import cached_property
from typing import Any

import numpy as np

from inventory.book.models import PeriodVersion
from inventory.book.queries.names import CLOSING, PrintedNames, printed_names
from inventory.book.rules.columns import EndColumns, Truths
from inventory.book.rules.scope import Scope
from inventory.db.moment import one_moment
from inventory.names.models import Taxon

from ..rules.arithmetic import Change
from ..rules.arrays import RowColumns, change_columns, counted, moves_of, steps_of
from ..rules.columns import COLUMNS
from ..rules.question import By, Question
from ..rules.scopes import ScopeNumbers, scope_numbers, scopes_in_words
from .closings import Knowledge, knowledge
from .reading import group_labels, moments_of, read_book, read_books, rows_of
from .rows import Row, Rows, value_of
from .unhindered import without_collecting
from .young import Asked, Replay, ages_at_entry, replays

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
    """The same question by each of ``groupings``, out of one reading of the book, of one moment."""
    with without_collecting(), one_moment():
        moments = moments_of(question, knowledge(question), zone)
        asked = Asked(question, moments, read_book(moments))
        return _reports([asked], groupings, zone)[0]


def change_reports_of_periods(questions: Sequence[Question], *, zone: tzinfo) -> list[Report]:
    """The report of each question, in their order: for quarters that follow each other one reading."""
    if not questions:
        return []
    with without_collecting(), one_moment():
        moments = [moments_of(question, knowledge(question), zone) for question in questions]
        asked = list(map(Asked, questions, moments, read_books(moments)))
        return [reports[0] for reports in _reports(asked, None, zone)]


class _Common:
    """What reports of the same cells share, looked up when the first of them asks."""

    def __init__(self, ends: EndColumns) -> None:
        self._ends = ends
        self._counted: dict[Scope, Truths] = {}
        self._names: dict[object, PrintedNames | None] = {}
        self._rows: dict[object, tuple[RowColumns, Sequence[str] | None, Mapping[int | str, str]]] = {}

    @cached_property
    def ages(self) -> Mapping[int, int]:
        return ages_at_entry()

    @cached_property
    def _taxa(self) -> Mapping[int, Taxon]:
        return Taxon.objects.in_bulk()

    def names(self, question: Question, closing: PeriodVersion | None) -> PrintedNames | None:
        """The names to print; those at a closing are of that closing alone."""
        key = (question.names, closing if question.names == CLOSING else None)
        if key not in self._names:
            self._names[key] = printed_names(question.names, closing=closing)
        return self._names[key]

    def taxa(self, names: PrintedNames | None) -> Mapping[int, Taxon]:
        return names.taxa if names else self._taxa

    def counted(self, scope: Scope) -> Truths:
        """The cells in the scope."""
        if scope not in self._counted:
            self._counted[scope] = counted(self._ends, scope)
        return self._counted[scope]

    def rows(
        self, question: Question, names: PrintedNames | None
    ) -> tuple[RowColumns, Sequence[str] | None, Mapping[int | str, str]]:
        """The rows of all cells, the words of their groups where those are no numbers, and their labels."""
        key = (question.by, question.scope, question.known_at, id(names))
        if key not in self._rows:
            of_cells, words = rows_of(question, self._ends, names)
            self._rows[key] = of_cells, words, group_labels(question, words)
        return self._rows[key]


def _reports(asked: Sequence[Asked], groupings: Sequence[By] | None, zone: tzinfo) -> list[list[Report]]:
    """Of each period, whose cells are the same, the report by each of ``groupings``, or as it is asked."""
    common = _Common(asked[0].reading.ends)
    replayed = replays(asked, zone, common.counted, lambda: common.ages)
    found = []
    for one, replay in zip(asked, replayed, strict=True):
        reading = one.reading
        scopes = (
            scope_numbers(reading.opened(), reading.ends),
            scope_numbers(reading.closing, reading.ends),
        )
        questions = [replace(one.question, by=by) for by in groupings or [one.question.by]]
        found.append([_report(question, one, common, scopes, replay) for question in questions])
    return found


def _report(
    question: Question,
    asked: Asked,
    common: _Common,
    scopes: tuple[Mapping[str, ScopeNumbers], Mapping[str, ScopeNumbers]],
    replay: Replay,
) -> Report:
    """``question`` is the one that is asked, by one of its groupings."""
    moments, reading, ends = asked.moments, asked.reading, asked.reading.ends
    names = common.names(question, moments.closing.version)
    of_cells, words, labels = common.rows(question, names)
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
        labels=labels,
        taxa=common.taxa(names),
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
