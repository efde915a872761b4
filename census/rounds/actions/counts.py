"""Takes counts: many lines at once, from a page, a workbook or a program."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db import transaction
from django.db.models import Max, Prefetch

from inventory.book.models import Lot
from inventory.people.models import Person

from ..models import Count, Line, Sheet, Sighting
from ..queries.approvers import roles_held
from ..rules.who import COUNTS, TYPES_LETTERS, VOLUNTEER_CLASSES, is_volunteer
from ..rules.words import SACFOR, CensusState, LineKind, Seen, SheetForm, SheetState
from .allowed import require
from .first_compared import keep_of_lines
from .moving import move_census, running
from .refused import CensusRefused

EXACT = "A"


@dataclass(frozen=True, slots=True)
class Entry:
    """What was written on one line in one round.

    ``line``: the line's number on its sheet; 0 for an animal that was written in, with its
    ``written_name``. ``counted_at``: the count moment, aware. ``value`` 0 is a count of zero; an
    entry with neither value, letter nor sightings is blank and taken as not counted. ``counter``
    is the person who counted, ``party`` whoever wrote a letter. ``passes``: how many passes or pictures
    the number is the middle of. ``sexes``: males, females,
    hermaphrodites, unknown. ``seen``: the roll-call by accession number. ``origin`` is where it
    stands ("sheet 1, row 12") and is told in problems.
    """

    line: int
    counted_at: datetime
    counter: Person | None = None
    value: int | None = None
    at_least: bool = False
    low: int | None = None
    high: int | None = None
    passes: int | None = None
    letter: str = ""
    sexes: tuple[int, int, int, int] | None = None
    seen: Mapping[str, Seen] = field(default_factory=dict)
    written_name: str = ""
    unit: str = "animal"
    party: str = ""
    method: str = ""
    remark: str = ""
    origin: str = ""

    @property
    def number(self) -> int | None:
        """The number counted: as written, else the sum of the sexes, else how many were seen."""
        if self.value is not None:
            return self.value
        if self.sexes is not None:
            return sum(self.sexes)
        if self.seen and not self.letter:
            return sum(1 for seen in self.seen.values() if seen is Seen.SEEN)
        return None

    @property
    def blank(self) -> bool:
        return self.number is None and not self.letter


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
    sheet = Sheet.objects.select_for_update().select_related("census", "place").get(pk=sheet.pk)
    _refuse_sheet(sheet)
    written = [entry for entry in entries if not entry.blank]
    lines = _lines(sheet)
    named = {person.pk: person for person in sheet.counters.select_related("user")}
    problems = [
        f"{entry.origin or f'line {entry.line}'}: {problem}"
        for entry in written
        for problem in _problems(entry, lines, now=now, round_=round, named=named)
    ]
    problems += _against_volunteers(written, lines, sheet, named)
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


def _against_volunteers(
    written: Sequence[Entry], lines: Mapping[int, Line], sheet: Sheet, named: Mapping[int, Person]
) -> list[str]:
    """A trained volunteer counts classes B and C, with an aquarist on the sheet."""
    counters = {entry.counter.pk: entry.counter for entry in written if entry.counter}
    volunteers = {pk for pk, person in counters.items() if is_volunteer(roles_held(person))}
    if not volunteers:
        return []
    problems = [
        f"{entry.origin or f'line {entry.line}'}: {entry.counter.name} is a trained volunteer, who counts "
        f"classes B and C; an aquarist counts class {lines[entry.line].count_class}"
        for entry in written
        if entry.counter and entry.counter.pk in volunteers and entry.line in lines
        if lines[entry.line].count_class not in VOLUNTEER_CLASSES
    ]
    if all(is_volunteer(roles_held(person)) for person in (*named.values(), *counters.values())):
        problems.append(
            f"the sheet {sheet.number} names no aquarist; a trained volunteer counts with one: name both"
        )
    return problems


def _problems(
    entry: Entry, lines: Mapping[int, Line], *, now: datetime, round_: int, named: Collection[int]
) -> list[str]:
    """What is wrong with one entry, in sentences."""
    problems = []
    if entry.line and entry.line not in lines:
        problems.append(f"the sheet has no line {entry.line}")
    if not entry.line and not entry.written_name.strip():
        problems.append("an animal that is written in needs a name")
    if entry.counter is None and not entry.party:
        problems.append("say who counted")
    if entry.counted_at > now:
        problems.append("the count moment lies in the future")
    problems += _number_problems(entry)
    if entry.line in lines:
        problems += _line_problems(entry, lines[entry.line], round_, named)
    return problems


def _number_problems(entry: Entry) -> list[str]:
    problems = []
    given = [n for n in (entry.value, entry.low, entry.high, *(entry.sexes or ())) if n is not None]
    if any(n < 0 for n in given):
        problems.append("a count is a whole number of 0 or more")
    if entry.passes is not None and entry.passes < 1:
        problems.append("a count has one pass or more")
    if entry.letter and entry.letter not in SACFOR:
        problems.append(f"{entry.letter!r} is not one of the letters {' '.join(SACFOR)}")
    if entry.sexes is not None and entry.value is not None and sum(entry.sexes) != entry.value:
        problems.append(f"the sexes add up to {sum(entry.sexes)}, not {entry.value}")
    low = entry.low if entry.low is not None else entry.number
    high = entry.high if entry.high is not None else entry.number
    if entry.number is not None and low is not None and high is not None and not low <= entry.number <= high:
        problems.append(f"the range {low} to {high} does not hold the count {entry.number}")
    return problems


def _line_problems(entry: Entry, line: Line, round_: int, named: Collection[int]) -> list[str]:
    problems = []
    if line.kind == LineKind.PRESENCE and entry.number is not None:
        problems.append("a line of class D takes a letter, not a number")
    if entry.letter and line.kind not in (LineKind.PRESENCE, LineKind.WRITE_IN):
        problems.append("a letter stands on lines of class D only; count, or leave it blank")
    strangers = sorted(set(entry.seen) - {lot.accession for lot in line.lots.all()})
    if strangers:
        problems.append(f"not on this line: {', '.join(strangers)}")
    asked = any(recount.round == round_ for recount in line.recounts.all())
    if round_ > 1 and not asked and not _second_counter(entry, line, round_, named):
        problems.append(f"no count {round_} was asked for; ask for a recount first")
    earlier = {count.counter_id for count in line.counts.all() if count.round < round_} - {None}
    if entry.counter is not None and entry.counter.pk in earlier:
        problems.append(f"{entry.counter.name} made an earlier count of this line; another person recounts")
    return problems


def _second_counter(entry: Entry, line: Line, round_: int, named: Collection[int]) -> bool:
    """Class A has two counters at the same moment, each of whom writes: the second needs no asking."""
    return (
        round_ == 2
        and line.count_class == EXACT
        and entry.counter is not None
        and entry.counter.pk in named
        and any(count.round == 1 for count in line.counts.all())
    )


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
