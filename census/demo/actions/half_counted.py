"""The census of the running quarter, exactly as half counted as the fixtures say."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.opening import add_line, open_census
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.sheets import hand_in, issue
from census.rounds.models import Census, Line, Sheet
from census.rounds.rules.words import LineKind, Seen, SheetState
from inventory.book.models import Lot, Period, Place
from inventory.people.models import Person

from ..rules.fixtures import PRESENCE, CensusRow, number, read_census, read_quarters, read_rows
from ..rules.history import History

# Local time of the house.
OPENED = "2026-09-22T09:00"
ISSUED = "2026-09-23T10:00"
COMPARED = "2026-10-05T16:00"
REGISTRAR = "Maren Tolvsund"
# A recount is asked for when the count is looked at, and made on the same day where that can be.
RECOUNT_ASKED_AFTER = timedelta(hours=4)
RECOUNT_AFTER = timedelta(hours=6)
MINIMUM = "minimum"


@dataclass(slots=True)
class _House:
    """What the fixtures name, found once."""

    people: Mapping[str, Person]
    lots: Mapping[str, Lot]
    zone: tzinfo

    @property
    def registrar(self) -> Person:
        return self.people[REGISTRAR]

    def moment(self, local: datetime | str) -> datetime:
        at = datetime.fromisoformat(local) if isinstance(local, str) else local
        return at.replace(tzinfo=self.zone)


def count_half(history: History, *, now: datetime, zone: tzinfo) -> Census:
    """Opens the census, issues its sheets and takes the counts that are in; ``now`` is not passed."""
    by_accession = Lot.objects.select_related("taxon").in_bulk(field_name="accession")
    house = _House(
        people={person.name: person for person in Person.objects.all()},
        lots={key: by_accession[accession] for key, accession in history.accessions.items()},
        zone=zone,
    )
    rows = [row for row in read_census() if not row.written_in]
    sheet_rows = read_rows("sheets.csv")
    census = _open(sheet_rows, rows, house)
    sheets = {sheet.number.rpartition("-")[2]: sheet for sheet in census.sheets.select_related("place")}
    lines = _lines(census)
    for sheet_row in sheet_rows:
        counted = [row for row in rows if row.text["sheet"] == sheet_row["sheet"]]
        _work_through(sheets[sheet_row["sheet"]], sheet_row, counted, lines, house)
    compare_counts(census=census, by=house.registrar, now=house.moment(COMPARED))
    return census


def _open(sheet_rows: Sequence[Mapping[str, str]], rows: Sequence[CensusRow], house: _House) -> Census:
    places = Place.objects.in_bulk([row["place"] for row in sheet_rows], field_name="code")
    census = open_census(
        period=Period.objects.get(code=read_quarters()[-1].code),
        places=[places[row["place"]] for row in sheet_rows],
        by=house.registrar,
        now=house.moment(OPENED),
        zone=house.zone,
    )
    _add_lines(census, rows, house)
    return census


def _add_lines(census: Census, rows: Sequence[CensusRow], house: _House) -> None:
    """Lines that the book could not know on the day of opening: class D, and what came afterwards."""
    _list_those_without_events(census, rows, house)
    there = _lines(census)
    sheets = {sheet.number.rpartition("-")[2]: sheet for sheet in census.sheets.select_related("place")}
    for row in rows:
        if _key(row, house) in there:
            continue
        lots = [house.lots[key] for key in row.on_the_sheet]
        add_line(
            sheet=sheets[row.text["sheet"]],
            kind=LineKind.PRESENCE if row.unit == PRESENCE else LineKind.GROUP,
            by=house.registrar,
            now=house.moment(ISSUED),
            taxon=lots[0].taxon,
            lots=lots,
            unit=row.unit,
            count_class=row.count_class,
        )


def _list_those_without_events(census: Census, rows: Sequence[CensusRow], house: _House) -> None:
    """Puts individuals on their taxon's line that the keepers know and the book has no event of."""
    for (place, lots), line in _lines(census).items():
        for row in rows:
            listed = _key(row, house)[1]
            if row.place == place and lots < listed and line.kind == LineKind.INDIVIDUALS:
                line.lots.set(listed)


def _work_through(
    sheet: Sheet,
    written: Mapping[str, str],
    rows: Sequence[CensusRow],
    lines: Mapping[tuple[str, frozenset[int]], Line],
    house: _House,
) -> None:
    """Issues one sheet, takes its counts and recounts, and leaves it in the state that is written."""
    if written["state"] == SheetState.NOT_ISSUED:
        return
    counters = [house.people[name] for name in written["counters"].split("|") if name]
    issue(
        sheet=sheet,
        by=house.registrar,
        now=house.moment(ISSUED),
        counters=counters,
        list_version=written["list_version"],
    )
    first = [row for row in rows if row.text["count_1"]]
    _first_counts(sheet, written, first, lines, house)
    if written["handed_in"]:
        handed_in = house.moment(written["handed_in"])
        hand_in(sheet=sheet, by=counters[0] if counters else house.registrar, now=handed_in)
    second = [row for row in rows if row.text["count_2"]]
    _second_counts(sheet, second, lines, house)
    if second and written["state"] == SheetState.HANDED_IN:
        last = max(_moment(row, rows) for row in second) + RECOUNT_AFTER + timedelta(hours=2)
        hand_in(sheet=sheet, by=house.registrar, now=house.moment(last))


def _first_counts(
    sheet: Sheet,
    written: Mapping[str, str],
    rows: Sequence[CensusRow],
    lines: Mapping[tuple[str, frozenset[int]], Line],
    house: _House,
) -> None:
    entries = [_first_entry(row, lines[_key(row, house)], house) for row in rows]
    if not entries:
        return
    entries += _written_in(written["sheet"], entries[0], house)
    typed_by = house.people.get(written["typed_by"]) or entries[0].counter or house.registrar
    typed_at = max(entry.counted_at for entry in entries) + timedelta(minutes=30)
    if written["typed_by"] and written["handed_in"]:
        typed_at = house.moment(written["handed_in"]) - timedelta(minutes=10)
    mistyped = [
        _first_entry(row, lines[_key(row, house)], house, value=int(row.text["first_typed_1"]))
        for row in rows
        if row.text["first_typed_1"]
    ]
    take_counts(sheet=sheet, entries=mistyped, by=typed_by, now=typed_at - timedelta(minutes=5))
    take_counts(sheet=sheet, entries=entries, by=typed_by, now=typed_at)


def _first_entry(row: CensusRow, line: Line, house: _House, *, value: int | None = None) -> Entry:
    text = row.text
    presence = row.unit == PRESENCE
    return Entry(
        line=line.number,
        counted_at=house.moment(text["counted_at"]),
        counter=house.people.get(text["counter_1"]),
        party=text["party"],
        value=value if value is not None else None if presence else int(text["count_1"]),
        letter=text["count_1"] if presence else "",
        at_least=text["method_1"] == MINIMUM,
        low=int(text["low_1"]) if text["low_1"] else None,
        high=int(text["high_1"]) if text["high_1"] else None,
        passes=number(text["passes_1"]) or None,
        sexes=_sexes(text["counted_mfu"]),
        seen=_seen(row, text["not_seen_1"], house),
        method=text["method_1"] if text["method_1"] not in ("count", "presence", MINIMUM) else "",
        remark=text["remark"],
        origin=row.line,
    )


def _written_in(sheet: str, like: Entry, house: _House) -> Iterable[Entry]:
    """What was written in below the lines, by the counter of the sheet at the same moment.

    Its unit keeps what is no stock yet, or of an open name, apart from the animals counted.
    """
    for row in read_rows("write_ins.csv"):
        if row["sheet"] == sheet:
            yield Entry(
                line=0,
                counted_at=like.counted_at,
                counter=like.counter,
                value=int(row["value"]) if row["value"] else None,
                letter=row["letter"],
                written_name=row["written_name"],
                unit=row["unit"],
                remark=row["remark"],
                origin=f"write-in {row['written_name']}",
            )


def _second_counts(
    sheet: Sheet,
    rows: Sequence[CensusRow],
    lines: Mapping[tuple[str, frozenset[int]], Line],
    house: _House,
) -> None:
    for name in dict.fromkeys(row.text["counter_2"] for row in rows):
        theirs = [row for row in rows if row.text["counter_2"] == name]
        base = max(_moment(row, rows) for row in theirs)
        chosen = [lines[_key(row, house)] for row in theirs]
        ask_recount(
            lines=chosen,
            of=house.people[name],
            by=house.registrar,
            now=house.moment(base + RECOUNT_ASKED_AFTER),
            round=2,
        )
        counted_at = house.moment(base + RECOUNT_AFTER)
        entries = [
            Entry(
                line=line.number,
                counted_at=counted_at,
                counter=house.people[name],
                value=number(row.text["count_2"]),
                sexes=_sexes(row.text["counted_mfu"]),
                seen=_seen(row, row.text["not_seen_2"], house),
                remark=row.text["remark"] if row.text["not_seen_2"] else "",
                origin=row.line,
            )
            for row, line in zip(theirs, chosen, strict=True)
        ]
        taken_at = counted_at + timedelta(hours=1)
        take_counts(sheet=sheet, entries=entries, by=house.people[name], now=taken_at, round=2)


def _moment(row: CensusRow, rows: Sequence[CensusRow]) -> datetime:
    """The count moment of a row; that of its sheet where the line was left blank."""
    moments = [other.counted_at for other in (row, *rows) if other.counted_at is not None]
    return moments[0]


def _sexes(mfu: str) -> tuple[int, int, int, int] | None:
    if not mfu:
        return None
    males, females, unknown = (int(part) for part in mfu.split("."))
    return males, females, 0, unknown


def _seen(row: CensusRow, not_seen: str, house: _House) -> dict[str, Seen]:
    """The roll-call of a line of individuals; empty for groups."""
    lots = [house.lots[key] for key in row.on_the_sheet]
    absent = {house.lots[key].accession for key in not_seen.split()}
    if any(lot.kind != "individual" for lot in lots):
        return {}
    return {lot.accession: Seen.NOT_SEEN if lot.accession in absent else Seen.SEEN for lot in lots}


def _lines(census: Census) -> dict[tuple[str, frozenset[int]], Line]:
    """The lines of the census by place and lots; what was written in has no lots and is left out."""
    lines = Line.objects.filter(sheet__census=census).select_related("place").prefetch_related("lots")
    return {
        (line.place.code, frozenset(lot.pk for lot in line.lots.all())): line
        for line in lines
        if line.kind != LineKind.WRITE_IN
    }


def _key(row: CensusRow, house: _House) -> tuple[str, frozenset[int]]:
    return row.place, frozenset(house.lots[key].pk for key in row.on_the_sheet)
