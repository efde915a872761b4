"""Reads the sheets of a file: each cell by its column's rule, every problem noted with its place."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from difflib import get_close_matches
from functools import partial
from typing import Any

from inventory.names.models.taxon import CountClass
from inventory.names.rules.parse import clean
from inventory.names.rules.verdicts import TaxonRow

from ...readers import Source, Table, read_table
from ...rules import as_typed
from ...rules.as_typed import Value
from ...rules.drafts import Problem
from ...rules.happened import Happened
from ...rules.kinds import ARRIVALS, EventKind
from ...rules.sheets import EVENTS, LOTS, OTHER_DOORS, PLACES, SHEETS, TAXA, PlaceRow, Sheet
from .guests import GuestRow, GuestSheet, Reader, sheets_asked
from .report import KEPT, LoadReport, Progress
from .spool import EventHead, EventLine, Spool

_PROGRESS_EVERY = 2_000
_VOLUME = {"digits": 10, "places": 3}


@dataclass(slots=True)
class Told:
    """What a file says. Lots and events wait in the spool; the rest is small and stays in memory."""

    spool: Spool
    places: list[PlaceRow] = field(default_factory=list)
    place_rows: list[int] = field(default_factory=list)
    taxa: dict[str, TaxonRow] = field(default_factory=dict)
    taxon_rows: dict[str, int] = field(default_factory=dict)
    # Rows of events that cannot be read, with what they name: that can be wrong too.
    unread_events: list[tuple[int, dict[str, Any]]] = field(default_factory=list)
    # Rows of the sheets that other rooms read, by sheet.
    guests: dict[str, list[GuestRow]] = field(default_factory=dict)


def read_sheets(
    source: Source, spool: Spool, report: LoadReport, *, zone: tzinfo, progress: Progress
) -> Told:
    """Reads all sheets of ``source``; what is wrong goes to ``report``."""
    told = Told(spool)
    titles = _titles(source, report)
    for sheet in SHEETS:
        if sheet.name not in titles:
            continue
        tally = report.tally(sheet.name)
        table = read_table(source, titles[sheet.name], sheet)
        if not isinstance(table, Table):
            report.refuse(*table)
            continue
        take = _takers(told, report, zone, table.present)[sheet.name]
        readers = _readers(sheet, zone)
        for row in table.rows:
            if isinstance(row, Problem):
                report.refuse(row)
                continue
            tally.rows += 1
            number, values = row
            take(number, *_read_row(sheet, readers, number, values))
            if tally.rows % _PROGRESS_EVERY == 0:
                progress(f"reading {sheet.name}", tally.rows, None)
        progress(f"reading {sheet.name}", tally.rows, tally.rows)
    for guest in sheets_asked():
        if guest.sheet.name in titles:
            _read_guest(guest, source, titles[guest.sheet.name], told, report, zone=zone)
    return told


def _read_guest(
    guest: GuestSheet, source: Source, title: str, told: Told, report: LoadReport, *, zone: tzinfo
) -> None:
    """The rows of a sheet that another room reads; those that cannot be read are told and left out."""
    sheet, special = guest.sheet, guest.readers(zone)
    tally = report.tally(sheet.name)
    table = read_table(source, title, sheet)
    if not isinstance(table, Table):
        report.refuse(*table)
        return
    readers = [special.get(column, _text_reader(sheet, column)) for column in sheet.columns]
    rows = told.guests.setdefault(sheet.name, [])
    for row in table.rows:
        if isinstance(row, Problem):
            report.refuse(row)
            continue
        tally.rows += 1
        number, values = row
        read, problems = _read_row(sheet, readers, number, values)
        report.refuse(*problems)
        if not problems:
            rows.append(GuestRow(number, read))


def _titles(source: Source, report: LoadReport) -> dict[str, str]:
    """The file's own titles by the names of the sheets that are known."""
    known = [sheet.name for sheet in (*SHEETS, *(guest.sheet for guest in sheets_asked()))]
    titles: dict[str, str] = {}
    for title in source.sheets():
        name = title.strip().lower()
        origin = f"sheet {title}"
        if name in OTHER_DOORS:
            report.refuse(Problem(0, origin, "", f"it is not loaded here: {OTHER_DOORS[name]}"))
        elif name not in known:
            message = f"unknown sheet {title!r}{_near(name, known)}; expected {', '.join(known)}"
            report.refuse(Problem(0, origin, "", message))
        elif name in titles:
            report.refuse(Problem(0, origin, "", f"{titles[name]!r} is the same sheet; expected each once"))
        else:
            titles[name] = title
    if not titles and not report.problem_count:
        report.refuse(Problem(0, "", "", f"no sheet; expected {', '.join(known)}"))
    return titles


def _read_row(
    sheet: Sheet, readers: Sequence[Reader], number: int, values: Sequence[Value]
) -> tuple[dict[str, Any], list[Problem]]:
    """Values by column, empty cells left out, and the problems of this row."""
    row: dict[str, Any] = {}
    problems: list[Problem] = []
    for column, reader, value in zip(sheet.columns, readers, values, strict=True):
        if value is None or value == "":
            continue
        try:
            read = reader(value)
        except ValueError as error:
            problems.append(sheet.problem(number, column, str(error)))
        else:
            if read is not None and read != "":
                row[column] = read
    unread = {problem.column for problem in problems}
    for column in sheet.needed:
        if column not in row and column not in unread:
            problems.append(sheet.problem(number, column, "empty; a value is needed here"))
    return row, problems


def _readers(sheet: Sheet, zone: tzinfo) -> list[Reader]:
    """One rule for each column, in their order."""
    special: Mapping[str, Mapping[str, Reader]] = {
        PLACES.name: {
            "kind": _word,
            "water": _word,
            "volume_m3": partial(as_typed.decimal_number, **_VOLUME),
        },
        TAXA.name: {
            "count_class": _count_class,
            "can_change_sex": as_typed.yes_or_no,
            "can_divide": as_typed.yes_or_no,
            "name": partial(_name_of_animals, longest=TAXA.longest.get("name")),
        },
        LOTS.name: {"kind": _word, "name": partial(_name_of_animals, longest=LOTS.longest.get("name"))},
        EVENTS.name: {
            "kind": _kind,
            "happened": _happened,
            "entered": partial(as_typed.read_moment, zone=zone),
            **dict.fromkeys(("males", "females", "hermaphrodites", "unknown"), as_typed.whole_number),
            **dict.fromkeys(("at_least", "at_most"), as_typed.whole_number),
            "from_sex": _word,
            "to_sex": _word,
        },
    }
    own = special[sheet.name]
    return [own.get(column, _text_reader(sheet, column)) for column in sheet.columns]


def _name_of_animals(value: Value, *, longest: int | None) -> str:
    """A name with something to be seen: signs without width alone are none."""
    words = as_typed.text(value, longest=longest)
    if words and not clean(words):
        raise ValueError(f"{words!r} holds nothing that can be seen; type the name")
    return words


def _text_reader(sheet: Sheet, column: str) -> Reader:
    return partial(as_typed.text, longest=sheet.longest.get(column))


def _takers(
    told: Told, report: LoadReport, zone: tzinfo, present: frozenset[str]
) -> dict[str, Callable[[int, dict[str, Any], list[Problem]], None]]:
    """What is done with a row of each sheet."""

    def take_place(number: int, row: dict[str, Any], problems: list[Problem]) -> None:
        report.refuse(*problems)
        # A row with a problem is kept as far as it was read: others may name it as their parent.
        if "code" in row:
            told.places.append(
                PlaceRow(
                    code=row["code"],
                    name=row.get("name", row["code"]),
                    kind=row.get("kind", "tank"),
                    parent=row.get("parent", "") if "parent" in present else None,
                    joined_set=row.get("joined_set", "") if "joined_set" in present else None,
                    water=row.get("water", "") if "water" in present else None,
                    volume_m3=row.get("volume_m3"),
                    states_volume="volume_m3" in present,
                    origin=PLACES.origin(number),
                )
            )

    def take_taxon(number: int, row: dict[str, Any], problems: list[Problem]) -> None:
        report.refuse(*problems)
        if "name" not in row:
            return
        first = told.taxon_rows.setdefault(row["name"], number)
        if first != number:
            message = f"{row['name']!r} stands in row {first} too; expected each once"
            report.refuse(TAXA.problem(number, "name", message))
        told.taxa.setdefault(row["name"], TaxonRow(**row))

    def take_lot(number: int, row: dict[str, Any], problems: list[Problem]) -> None:
        report.refuse(*problems)
        if "accession" not in row:
            return
        said = [row.get(column, "" if column in present else None) for column in LOTS.columns]
        first = told.spool.add_lot(number, said)
        if first:
            message = f"{row['accession']!r} stands in row {first} too; expected each once"
            report.refuse(LOTS.problem(number, "accession", message))

    def take_event(number: int, row: dict[str, Any], problems: list[Problem]) -> None:
        if problems:
            report.refuse(*problems)
            _put_aside(told, number, row)
            return
        happened: Happened = row.pop("happened")
        ref = row.pop("ref")
        head = _head_of(row, happened)
        stated = {name: row[name] for name in EventLine._fields if name in row}
        line = EventLine(**stated) if stated or row["kind"] is not EventKind.REVERSED else None
        first, said = told.spool.add_event_row(
            number,
            ref,
            head,
            line,
            moment=happened.effective_at(zone),
            rank=0 if row["kind"] in ARRIVALS else 1,
        )
        if said != head:
            told.spool.spoil(ref)
            report.refuse(*_disagreements(number, ref, head, first, said))

    return {
        PLACES.name: take_place,
        TAXA.name: take_taxon,
        LOTS.name: take_lot,
        EVENTS.name: take_event,
    }


def _put_aside(told: Told, number: int, row: dict[str, Any]) -> None:
    if "ref" in row:
        told.spool.spoil(row["ref"])
    if len(told.unread_events) < KEPT:
        told.unread_events.append((number, row))


def _head_of(row: Mapping[str, Any], happened: Happened) -> EventHead:
    entered: datetime | None = row.get("entered")
    stated = {name: row[name] for name in EventHead._fields[3:] if name in row}
    return EventHead(row["kind"], str(happened), entered.isoformat() if entered else "", **stated)


def _disagreements(number: int, ref: str, head: EventHead, first: int, said: EventHead) -> list[Problem]:
    return [
        EVENTS.problem(
            number,
            column,
            f"the event {ref!r} has {_shown(here)} here and {_shown(there)} in row "
            f"{first}; expected the same in all rows with one ref, or another ref",
        )
        for column, here, there in zip(EventHead._fields, head, said, strict=True)
        if here != there
    ]


def _shown(value: str | int | None) -> str:
    return "nothing" if value in ("", None) else f"{value!s:.40}"


def _word(value: Value) -> str:
    return as_typed.text(value).lower()


def _happened(value: Value) -> Happened:
    return as_typed.happened(value)


def _kind(value: Value) -> EventKind:
    word = _word(value)
    try:
        return EventKind(word)
    except ValueError:
        kinds = [kind.value for kind in EventKind]
        raise ValueError(
            f"{word!r} is no kind of event{_near(word, kinds)}; expected {', '.join(kinds)}"
        ) from None


def _count_class(value: Value) -> str:
    word = as_typed.text(value).upper()
    if word not in CountClass.values:
        raise ValueError(f"{word!r} is no count class; expected {', '.join(CountClass.values)}")
    return word


def _near(word: str, words: Sequence[str]) -> str:
    near = get_close_matches(word, words, n=1)
    return f" (did you mean {near[0]!r}?)" if near else ""
