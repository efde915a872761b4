"""Takes counts: many lines at once, from a page, a workbook or a program."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Max, Prefetch

from inventory.book.models import Lot
from inventory.people.models import Person

from ..models import Census, Count, Line, Sheet, Sighting
from ..queries.written_class import class_of_written
from ..rules.who import COUNTS, TYPES_LETTERS
from ..rules.words import CensusState, LineKind, SheetForm, SheetState
from .against_counts import against_volunteers, problems_of
from .allowed import require
from .entries import Entry
from .first_compared import keep_of_lines
from .moving import move_census, running
from .refused import CensusRefused


@dataclass(frozen=True, slots=True)
class Taken:
    """How many counts were new, replaced one typed before, or said the same again; blank ones were left."""

    new: int
    replaced: int
    same: int
    blank: int


@transaction.atomic
def take_counts(
    *, sheet: Sheet, entries: Sequence[Entry], by: Person, now: datetime, round: int = 1
) -> Taken:
    """Takes the counts of one round of one sheet; ``by`` typed them at ``now``.

    The same counts again change nothing; other numbers for a line replace what was typed before,
    which stays readable. Raises :class:`CensusRefused` with every problem of the batch.
    """
    require(by, TYPES_LETTERS if sheet.form == SheetForm.LETTER else COUNTS, "type counts")
    sheet = Sheet.objects.select_for_update().select_related("census__period", "place").get(pk=sheet.pk)
    _refuse_sheet(sheet)
    written = [entry for entry in entries if not entry.blank]
    lines = _lines(sheet)
    named = {person.pk: person for person in sheet.counters.select_related("user")}
    problems = [
        f"{entry.origin or f'line {entry.line}'}: {problem}"
        for entry in written
        for problem in problems_of(
            entry, lines, begins=first_moment(sheet.census), now=now, round_=round, named=named
        )
    ]
    problems += against_volunteers(written, lines, sheet, named)
    numbers = [entry.line for entry in written if entry.line]
    problems += [f"line {n}: given more than once" for n in sorted(set(numbers)) if numbers.count(n) > 1]
    if problems:
        raise CensusRefused(*problems)
    chosen = [
        (entry, lines.get(entry.line) or _written_in(sheet, entry, lines, by=by, now=now))
        for entry in written
    ]
    taken = _write(chosen, by=by, now=now, round_=round, blank=len(entries) - len(written))
    if written and sheet.state == SheetState.ISSUED:
        sheet.state = SheetState.STARTED.value
        sheet.started_at = now
        sheet.save(update_fields=["state", "started_at"])
    if written:
        move_census(sheet.census, CensusState.COUNTING)
    if written and round == 1 and sheet.census.compared_at is not None:
        keep_of_lines(sheet.census, [line for _, line in chosen], now=now)
    return taken


def first_moment(census: Census) -> datetime:
    """When the period of a census begins; an hour off where the clocks have been changed in it."""
    period = census.period
    return census.cutoff - (period.ends_on - period.starts_on) - timedelta(days=1, hours=1)


def _refuse_sheet(sheet: Sheet) -> None:
    running(sheet.census)
    if sheet.state == SheetState.NOT_ISSUED:
        raise CensusRefused(f"The sheet {sheet.number} has not been issued; issue it first.")
    if sheet.state in (SheetState.VOID, SheetState.LOST):
        raise CensusRefused(f"The sheet {sheet.number} is {sheet.state}; count on the one that replaces it.")


def _lines(sheet: Sheet) -> dict[int, Line]:
    """The sheet's lines by number, with all that taking counts needs to know: four queries."""
    lines = sheet.lines.prefetch_related(
        Prefetch("lots", Lot.objects.order_by("accession")),
        Prefetch("counts", Count.objects.prefetch_related("sightings").order_by("id")),
        "recounts",
    )
    return {line.number: line for line in lines}


def _written_in(sheet: Sheet, entry: Entry, lines: dict[int, Line], *, by: Person, now: datetime) -> Line:
    """The line of an animal that was written in; the same name on a sheet is one line."""
    for line in lines.values():
        if line.kind == LineKind.WRITE_IN and line.written_name == entry.written_name.strip():
            return line
    last = sheet.lines.aggregate(last=Max("number"))["last"] or 0
    line = Line.objects.create(
        sheet=sheet,
        number=last + 1,
        place=sheet.place,
        kind=LineKind.WRITE_IN.value,
        written_name=entry.written_name.strip(),
        unit=entry.unit,
        count_class=class_of_written(entry.written_name),
        added_at=now,
        added_by=by,
    )
    lines[line.number] = line
    return line


def _write(
    chosen: Sequence[tuple[Entry, Line]], *, by: Person, now: datetime, round_: int, blank: int
) -> Taken:
    made: list[tuple[Count, Entry, Line]] = []
    replaced = same = 0
    for entry, line in chosen:
        before = current_count(line, round_)
        if before is not None and _content(before) == _stated(entry, line):
            same += 1
            continue
        replaced += before is not None
        made.append((_count(entry, line, round_, before=before, by=by, now=now), entry, line))
    Count.objects.bulk_create(count for count, _, _ in made)
    sightings = []
    for count, entry, line in made:
        by_accession = {lot.accession: lot for lot in line.lots.all()}
        sightings += [
            Sighting(made_at=count, lot=by_accession[accession], seen=seen.value)
            for accession, seen in entry.seen.items()
        ]
    Sighting.objects.bulk_create(sightings)
    return Taken(new=len(made) - replaced, replaced=replaced, same=same, blank=blank)


def current_count(line: Line, round_: int) -> Count | None:
    """The count of that round that nothing replaces."""
    counts = [count for count in line.counts.all() if count.round == round_]
    replaced = {count.replaces_id for count in counts}
    return next((count for count in counts if count.pk not in replaced), None)


def _count(
    entry: Entry, line: Line, round_: int, *, before: Count | None, by: Person, now: datetime
) -> Count:
    males, females, hermaphrodites, unknown = entry.sexes or (None, None, None, None)
    return Count(
        line=line,
        round=round_,
        counter=entry.counter,
        party=entry.party,
        counted_at=entry.counted_at,
        value=entry.number,
        at_least=entry.at_least,
        low=entry.low,
        high=entry.high,
        letter=entry.letter,
        passes=entry.passes,
        males=males,
        females=females,
        hermaphrodites=hermaphrodites,
        unknown=unknown,
        method=entry.method,
        remark=entry.remark,
        typed_by=by,
        typed_at=now,
        replaces=before,
    )


def _stated(entry: Entry, line: Line) -> tuple[object, ...]:
    """What makes two entries of a line the same; who typed it and when is no part of it."""
    ids = {lot.accession: lot.pk for lot in line.lots.all()}
    return (
        entry.counter.pk if entry.counter else None,
        entry.party,
        entry.counted_at,
        entry.number,
        entry.at_least,
        entry.low,
        entry.high,
        entry.passes,
        entry.letter,
        entry.sexes or (None, None, None, None),
        entry.method,
        entry.remark,
        frozenset((ids[accession], seen.value) for accession, seen in entry.seen.items()),
    )


def _content(count: Count) -> tuple[object, ...]:
    return (
        count.counter_id,
        count.party,
        count.counted_at,
        count.value,
        count.at_least,
        count.low,
        count.high,
        count.passes,
        count.letter,
        (count.males, count.females, count.hermaphrodites, count.unknown),
        count.method,
        count.remark,
        frozenset((sighting.lot_id, sighting.seen) for sighting in count.sightings.all()),
    )


__all__ = ["Entry", "Taken", "current_count", "take_counts"]
