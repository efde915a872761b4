"""Takes back count sheets that were filled in as a workbook; all sheets or none."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from inventory.people.models import Person

from ..models import Sheet
from ..readers.count_sheets import Paper, PaperRow
from .counts import Entry, Taken, take_counts
from .refused import CensusRefused


@transaction.atomic
def take_papers(*, papers: Sequence[Paper], by: Person, now: datetime) -> dict[str, Taken]:
    """Takes the counts of all sheets, by sheet number. Raises :class:`CensusRefused` with all problems."""
    people = {person.name: person for person in Person.objects.all()}
    sheets = {
        sheet.number: sheet for sheet in Sheet.objects.filter(number__in=[paper.number for paper in papers])
    }
    taken: dict[str, Taken] = {}
    problems: list[str] = []
    for paper in papers:
        if paper.number not in sheets:
            problems.append(f"sheet {paper.worksheet}, B1: there is no count sheet {paper.number!r}")
            continue
        entries, wrong = _entries(paper, people)
        if wrong:
            problems += wrong
            continue
        try:
            taken[paper.number] = take_counts(
                sheet=sheets[paper.number], entries=entries, by=by, now=now, round=paper.round
            )
        except CensusRefused as refused:
            problems += [
                problem if problem.startswith("sheet ") else f"sheet {paper.worksheet}: {problem}"
                for problem in refused.problems
            ]
    if problems:
        raise CensusRefused(*problems)
    return taken


def _entries(paper: Paper, people: dict[str, Person]) -> tuple[list[Entry], list[str]]:
    entries, problems = [], []
    for row in paper.rows:
        if row.written.blank and row.sexes is None and not row.seen:
            continue
        where = f"sheet {paper.worksheet}, row {row.row}"
        if row.counted_by and row.counted_by not in people:
            problems.append(f"{where}, column counted by: nobody here is called {row.counted_by!r}")
        elif row.counted_at is None:
            problems.append(f"{where}, column counted at: say when, YYYY-MM-DD HH:MM, here or at the top")
        else:
            entries.append(_entry(row, row.counted_at, people.get(row.counted_by), where))
    return entries, problems


def _entry(row: PaperRow, counted_at: datetime, counter: Person | None, where: str) -> Entry:
    return Entry(
        line=row.line,
        counted_at=counted_at,
        counter=counter,
        value=row.written.value,
        at_least=row.written.at_least,
        letter=row.written.letter,
        low=row.low,
        high=row.high,
        passes=row.passes,
        sexes=row.sexes,
        seen=row.seen,
        written_name=row.name,
        remark=row.remark,
        origin=where,
    )
