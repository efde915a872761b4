"""Settles the half-counted census as the fixtures say, up to the curator's signature.

Late slips are typed, open lines are counted as the book has them, every case is decided through
the census's own actions. The caller decides whether the result stays.
"""

from collections.abc import Mapping
from datetime import date, datetime, tzinfo

from django.db import transaction

from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.decide import decide_line
from census.rounds.actions.opening import add_line
from census.rounds.actions.sheets import hand_in, issue
from census.rounds.actions.signing import propose, sign
from census.rounds.models import Census, Line, Sheet
from census.rounds.queries.reading import LineRead, present, read_census
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import SACFOR, How, LineKind, Seen, SheetState
from inventory.book.actions.post import post_events
from inventory.book.models import Lot, LotKind
from inventory.book.rules.kinds import EventKind
from inventory.people.models import Person

from ..rules.fixtures import number, read_rows, read_slips
from ..rules.fixtures import read_census as read_census_rows
from ..rules.history import History
from .ledger import CURATOR, drafts_of
from .people import REGISTRAR

WRITTEN_IN = "write-in:"
# Who makes the counts that are still open.
COUNTER = "Petra Lisgowan"
VETERINARIAN = "Dr Ylva Brockhollin"
HOSPITAL = "H1"


@transaction.atomic
def settle_all(history: History, *, now: datetime, zone: tzinfo) -> Census:
    """Everything that is left to do, in the order in which a house would do it; ends signed."""
    census = Census.objects.latest("cutoff")
    people = {person.name: person for person in Person.objects.select_related("user")}
    registrar, curator = people[REGISTRAR], people[CURATOR]
    post_events(drafts_of(read_slips(), history.accessions, zone), now=now, zone=zone)
    lines = _lines_by_fixture(census, history)
    for row in read_rows("decisions.csv"):
        other = lines[row["other_line"]] if row["other_line"] else None
        decide_line(
            line=lines[row["line"]],
            settling=_settling(row, history),
            by=registrar,
            now=now,
            zone=zone,
            approved_by=people.get(row["approved_by"]),
            countersigned_by=people.get(row["countersigned_by"]),
            other_line=other,
        )
    _bring_in_open_sheets(census, history, people, now=now)
    propose(census=census, by=registrar, now=now)
    sign(
        census=census,
        by=curator,
        now=now,
        zone=zone,
        without_sample="the demo settles in one go; nobody counts again",
    )
    census.refresh_from_db()
    return census


def _settling(row: Mapping[str, str], history: History) -> Settling:
    return Settling(
        how=How(row["how"]),
        reason=row["reason"],
        n=number(row["n"]),
        accessions=tuple(history.accessions[lot] for lot in row["lots"].split()),
        kind=EventKind(row["kind"]) if row["kind"] else None,
        happened=row["happened"],
        last_seen=date.fromisoformat(row["last_seen"]) if row["last_seen"] else None,
        to_place=row["to_place"],
        to_accession=history.accessions[row["to_lot"]] if row["to_lot"] else "",
        from_sex=row["from_sex"],
        to_sex=row["to_sex"],
        reverses=row["reverses"],
        cause=row["cause"],
        drift=bool(row["drift"]),
        evidence=row["evidence"],
        note=row["note"],
        owner=row["owner"],
        due=date.fromisoformat(row["due"]) if row["due"] else None,
    )


def _lines_by_fixture(census: Census, history: History) -> dict[str, Line]:
    """Lines of the census by the number they have in the fixtures, write-ins by their name."""
    lines = Line.objects.filter(sheet__census=census).select_related("sheet", "place", "taxon")
    by_lots: dict[tuple[str, frozenset[str]], Line] = {}
    found: dict[str, Line] = {}
    for line in lines.prefetch_related("lots"):
        if line.kind == LineKind.WRITE_IN:
            found[WRITTEN_IN + line.written_name] = line
        else:
            by_lots[line.place.code, frozenset(lot.accession for lot in line.lots.all())] = line
    for row in read_census_rows():
        if row.written_in:
            found[row.line] = found[WRITTEN_IN + row.name]
        else:
            lots = frozenset(history.accessions[lot] for lot in row.on_the_sheet)
            found[row.line] = by_lots[row.place, lots]
    return found


def _bring_in_open_sheets(
    census: Census, history: History, people: Mapping[str, Person], *, now: datetime
) -> None:
    """Counts what is not counted, as the book has it, and hands in every sheet that is out."""
    registrar, counter = people[REGISTRAR], people[COUNTER]
    for sheet in Sheet.objects.filter(census=census, state=SheetState.NOT_ISSUED):
        issue(sheet=sheet, by=registrar, now=now, counters=[people[VETERINARIAN]])
        if sheet.place.code == HOSPITAL:
            _list_newcomers(sheet, registrar, now=now)
    reads = [part for row in read_census(census) for part in row.parts if not part.counts]
    by_sheet: dict[int, list[Entry]] = {}
    for read in reads:
        by_sheet.setdefault(read.line.sheet_id, []).append(_as_the_book(read, counter, now))
    out = (SheetState.ISSUED, SheetState.STARTED, SheetState.RECOUNT_ASKED)
    for sheet in Sheet.objects.filter(census=census, state__in=out):
        take_counts(sheet=sheet, entries=by_sheet.get(sheet.pk, []), by=counter, now=now)
        hand_in(sheet=sheet, by=counter, now=now)


def _list_newcomers(sheet: Sheet, by: Person, *, now: datetime) -> None:
    """Adds the lines of individuals that a late move brought to the place of ``sheet``."""
    listed = set(sheet.lines.values_list("lots__pk", flat=True))
    held = Lot.objects.filter(
        kind=LotKind.INDIVIDUAL, cells__account__place=sheet.place, cells__balance__gt=0
    )
    for lot in held.exclude(pk__in=listed).select_related("taxon"):
        add_line(
            sheet=sheet,
            kind=LineKind.INDIVIDUALS,
            by=by,
            now=now,
            taxon=lot.taxon,
            lots=[lot],
            count_class="A",
        )


def _as_the_book(read: LineRead, counter: Person, now: datetime) -> Entry:
    presence = read.line.kind == LineKind.PRESENCE
    individuals = read.line.kind == LineKind.INDIVIDUALS
    return Entry(
        line=read.line.number,
        counted_at=now,
        counter=counter,
        value=None if presence else present(read.at_end),
        letter=SACFOR[2] if presence else "",
        seen={lot.accession: Seen.SEEN for lot in read.lots} if individuals else {},
    )
