"""The account of a permit: what is used and what is left, by line, as of a day, as known at a moment."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo

from inventory.book.models import Flow
from inventory.book.queries.quantities import cell_balances, cell_facts
from inventory.book.rules.happened import end_of_day
from inventory.book.rules.kinds import EventKind
from inventory.names.models import Taxon

from ..models import LinkMember, Permit, PermitLine, Scope
from ..rules.accounts import HELD, Taken, Used, by_line, limit_words, used_of
from ..rules.scopes import line_for
from .reading import PermitRead, animal_of, read_permits
from .takes import TakeRead, current_takes


@dataclass(slots=True)
class LineAccount:
    """One line: the permit's words, the names they stand for now, and its numbers.

    ``line`` is none for takes that no line covers. ``hidden``: the reader counts some of these animals
    now, and is not told.
    """

    line: PermitLine | None
    words: str
    names: tuple[str, ...]
    scope: str
    limit: str
    used: Used
    takes: list[TakeRead] = field(default_factory=list)
    hidden: bool = False
    most_on: str = ""

    @property
    def number(self) -> int | None:
        """The line's number in the permit."""
        return self.line.number if self.line else None

    @property
    def identity_holds(self) -> bool:
        """Caught is what was let go, died and was kept."""
        return self.used.caught == self.used.let_go + self.used.died + self.used.kept


@dataclass(slots=True)
class PermitAccount:
    """One permit with all its lines; takes that no line covers come last, one row for each unit."""

    read: PermitRead
    as_of: date
    lines: list[LineAccount]
    takes: list[TakeRead]

    @property
    def permit(self) -> Permit:
        """The permit itself."""
        return self.read.permit

    @property
    def over(self) -> list[LineAccount]:
        """Lines over their limit."""
        return [line for line in self.lines if line.used.over]


def account(
    permit: Permit,
    *,
    as_of: date,
    zone: tzinfo,
    known_at: datetime | None = None,
    hidden: Collection[int] = (),
) -> PermitAccount:
    """The account of one permit; see :func:`accounts`."""
    return accounts([permit], as_of=as_of, zone=zone, known_at=known_at, hidden=hidden)[permit.pk]


def accounts(
    permits: Sequence[Permit],
    *,
    as_of: date,
    zone: tzinfo,
    known_at: datetime | None = None,
    hidden: Collection[int] = (),
) -> dict[int, PermitAccount]:
    """The accounts of permits at the end of ``as_of``, by permit. A constant number of queries.

    ``hidden`` are places whose numbers the reader may not see: lines with animals there are blanked.
    """
    reads = read_permits(permits, on=as_of)
    takes: defaultdict[int, list[TakeRead]] = defaultdict(list)
    for take in current_takes(permits=permits, known_at=known_at):
        if take.trip.ends_on <= as_of:
            takes[take.take.permit_id].append(take)
    held = _held(reads, as_of=as_of, zone=zone, known_at=known_at, hidden=hidden)
    in_hidden = events_hidden(hidden)
    return {
        pk: _account(read, takes[pk], as_of=as_of, held=held, in_hidden=in_hidden)
        for pk, read in reads.items()
    }


def _account(
    read: PermitRead,
    takes: list[TakeRead],
    *,
    as_of: date,
    held: Mapping[tuple[int, int], int | None],
    in_hidden: Collection[int],
) -> PermitAccount:
    numbers = by_line(take.counts for take in takes)
    reads: defaultdict[int | None, list[TakeRead]] = defaultdict(list)
    for take in takes:
        reads[take.take.line_number].append(take)
    lines = []
    for line in read.lines:
        limit = read.limit(line)
        key = read.permit.pk, line.number
        used = used_of(limit, numbers.pop(line.number, []), as_of=as_of, held=held.get(key))
        row = LineAccount(
            line=line,
            words=line.words,
            names=tuple(member_name(m) for m in read.members.get(line.number, ())),
            scope=read.links[line.number].scope if line.number in read.links else "",
            limit=limit_words(line.limit, line.per, line.unit),
            used=used,
            takes=reads.pop(line.number, []),
        )
        row.hidden = (key in held and held[key] is None) or _any_in(row.takes, in_hidden)
        row.most_on = next((str(t.trip.ends_on) for t in row.takes if t.trip_root == used.trip), "")
        lines.append(row)
    lines += _uncovered(reads, numbers, in_hidden)
    for row in lines:
        if row.hidden:
            row.used = Used()
            row.takes = []
    return PermitAccount(read, as_of, lines, takes)


def _uncovered(
    reads: Mapping[int | None, list[TakeRead]],
    numbers: Mapping[int | None, list[Taken]],
    in_hidden: Collection[int],
) -> list[LineAccount]:
    """Takes of no line of the version: nothing allows them, so there is nothing left of them."""
    rows = []
    for number in sorted(numbers, key=lambda n: (n is not None, n or 0)):
        for unit in dict.fromkeys(taken.unit for taken in numbers[number]):
            taken = [row for row in numbers[number] if row.unit == unit]
            used = Used(
                caught=sum(row.caught for row in taken),
                let_go=sum(row.let_go for row in taken),
                died=sum(row.died for row in taken),
                kept=sum(row.kept for row in taken),
            )
            used.counted = used.used = used.kept + used.died
            mine = [read for read in reads[number] if read.take.unit == unit]
            names = tuple(dict.fromkeys(name_of(read) for read in mine))
            words = "no line of the permit" if number is None else f"line {number}, no longer on the permit"
            row = LineAccount(None, words, names, "", "not on the permit", used, mine)
            row.hidden = _any_in(mine, in_hidden)
            rows.append(row)
    return rows


def name_of(read: TakeRead) -> str:
    """The accepted name of a take, or what was written while nobody has decided."""
    return read.take.taxon.scientific_name if read.take.taxon else read.take.verbatim_identification


def member_name(member: LinkMember) -> str:
    """The name that a member of a link bears now."""
    return member.taxon.scientific_name if member.taxon else member.name


def _any_in(takes: Sequence[TakeRead], events: Collection[int]) -> bool:
    return any(not events_are_shown(read, events) for read in takes)


def events_are_shown(read: TakeRead, hidden_events: Collection[int]) -> bool:
    """True when none of a take's events is one that would give a number away."""
    return not any(event in hidden_events for event in read.event_ids)


def events_hidden(places: Collection[int]) -> frozenset[int]:
    """Arrivals from the wild of lots that stood in these places: their numbers would give a count away.

    Two queries; none when nothing is hidden.
    """
    if not places:
        return frozenset()
    lots = {fact.lot_id for fact in cell_facts().values() if fact.place_id in places}
    arrivals = Flow.objects.filter(event__kind=EventKind.TAKEN, to_cell__lot__in=lots)
    return frozenset(arrivals.order_by().values_list("event_id", flat=True).distinct())


def _held(
    reads: Mapping[int, PermitRead],
    *,
    as_of: date,
    zone: tzinfo,
    known_at: datetime | None,
    hidden: Collection[int],
) -> dict[tuple[int, int], int | None]:
    """What is held on the premises of each line that limits that; none: the reader may not know.

    Whoever owns them and however they came: what counts is that they are here. Three queries, none when
    no line asks.
    """
    asked = {
        (pk, line.number): line.unit for pk, read in reads.items() for line in read.lines if line.per == HELD
    }
    if not asked:
        return {}
    balances = cell_balances(before=end_of_day(as_of, zone), known_at=known_at)
    facts = cell_facts(cells=balances)
    taxa = Taxon.objects.in_bulk({fact.taxon_id for fact in facts.values()})
    line_of = {
        (pk, taxon_id): line_for(animal_of(taxon), reads[pk].covers)
        for pk in {pk for pk, _ in asked}
        for taxon_id, taxon in taxa.items()
    }
    held: dict[tuple[int, int], int | None] = dict.fromkeys(asked, 0)
    for cell, n in balances.items():
        fact = facts.get(cell)
        if fact is None or fact.off_site:
            continue
        for pk in {pk for pk, _ in asked}:
            key = pk, line_of[pk, fact.taxon_id] or 0
            if key not in asked or asked[key] != fact.unit:
                continue
            before = held[key]
            held[key] = None if before is None or fact.place_id in hidden else before + n
    return held


def is_open_group(row: LineAccount) -> bool:
    """True for a line that covers more than one kind of animal."""
    return row.scope in (Scope.HIGHER, Scope.GROUP, Scope.NOT_LISTED)
