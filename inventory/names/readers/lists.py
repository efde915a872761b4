"""Reads the csv files of lists: a few head rows, then one row for each entry.

::

    list,Hazards of animals
    kind,hazard
    authority,the house
    source,Safety sheet of the house
    source_date,2026-11-25
    mark,seen
    scientific_name,rank,annotation,region,what,what_to_do_first,source,mark,note
    Conger conger,species,bites,,Strong jaws ...,Stop the bleeding ...,,practice,

``kind``, ``mark`` and ``rank`` take the words of :mod:`inventory.names.rules.lists`. The head row
``source_date`` is the source's year, month or day; where there is no source, the day on which the list
was written down. ``source`` and ``mark`` of an entry may stay blank: then those of the head hold. A
hazard needs ``what`` and ``what_to_do_first``. UTF-8.
"""

import csv
import hashlib
import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from pathlib import Path

from ..rules.lists import ListedRank, ListKind, Mark
from ..rules.parse import parse, storable

HEAD = ("list", "kind", "authority", "source", "source_date", "mark")
COLUMNS = (
    "scientific_name", "rank", "annotation", "region", "what", "what_to_do_first", "source", "mark", "note",
)  # fmt: skip
_NEEDED = ("scientific_name", "rank", "annotation")
_OF_HAZARDS = ("what", "what_to_do_first")
_LONGEST = {"list": 200, "authority": 300, "scientific_name": 250, "annotation": 200, "region": 200}
_LONGEST_TEXT = 4000
# The longest list of law that we know of names some 40,000 animals and plants.
LARGEST_FILE = 50_000_000
MOST_PROBLEMS = 50
_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")
_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")
# (row, column, message)
_Tell = Callable[[int, str, str], None]


@dataclass(frozen=True, slots=True)
class ListProblem:
    """What is wrong, and where. ``row`` counts as a spreadsheet does, 0 for the file as a whole."""

    file: str
    row: int
    column: str
    message: str

    def __str__(self) -> str:
        where = [self.file, *([f"row {self.row}"] if self.row else [])]
        if self.column:
            where.append(f"column {self.column}")
        return f"{', '.join(where)}: {self.message}"


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One entry: its row in the file, its name without signs, and its cells by column."""

    row: int
    name: str
    cells: dict[str, str]


@dataclass(slots=True)
class ListFile:
    """One file as it was read; not to be used when ``problems`` are left."""

    code: str
    fingerprint: str = ""
    head: dict[str, str] = field(default_factory=dict)
    entries: list[EntryRow] = field(default_factory=list)
    problems: list[ListProblem] = field(default_factory=list)


def read_lists(path: Path) -> list[ListFile]:
    """Every list in a folder, or the one in a file; the problems stand in each. Raises ``OSError``."""
    files = sorted(path.glob("*.csv")) if path.is_dir() else [path]
    read = [_read(file) for file in files]
    seen: dict[str, str] = {}
    for one in read:
        first = seen.setdefault(one.code.casefold(), one.code)
        if first != one.code:
            message = (
                f"another file is called {first}.csv; two lists need names that differ by more than case"
            )
            one.problems.append(ListProblem(f"{one.code}.csv", 0, "", message))
    return read


def _read(file: Path) -> ListFile:
    read = ListFile(file.stem)

    def problem(row: int, column: str, message: str) -> None:
        if len(read.problems) < MOST_PROBLEMS:
            read.problems.append(ListProblem(file.name, row, column, message))

    if not _CODE.fullmatch(read.code):
        problem(0, "", "expected a file name of letters, digits, - and _, at most 60")
        return read
    if file.stat().st_size > LARGEST_FILE:
        problem(0, "", f"larger than {LARGEST_FILE:,} bytes; no list of names is")
        return read
    content = file.read_bytes()
    read.fingerprint = hashlib.sha256(content).hexdigest()
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem(line, "", "not UTF-8; save the file as “CSV UTF-8”")
        return read
    rows = _rows(text)
    try:
        columns = _head(rows, read, problem)
        if columns:
            _entries(rows, columns, read, problem)
    except csv.Error as error:
        problem(text.count("\n") + 1, "", f"not a csv: {error}")
    return read


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that are not blank, with their numbers."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    for number, cells in enumerate(reader, start=1):
        cleaned = [" ".join(storable(cell).split()) for cell in cells]
        if any(cleaned):
            yield number, cleaned


def _head(rows: Iterator[tuple[int, list[str]]], read: ListFile, problem: _Tell) -> list[str]:
    """Fills in the head; the headings of the columns, or none when they cannot be used."""
    heading: tuple[int, list[str]] | None = None
    for number, cells in rows:
        key = cells[0].casefold()
        if key == COLUMNS[0]:
            heading = (number, [cell.casefold() for cell in cells])
            break
        if key not in HEAD:
            problem(
                number, "1", f"“{cells[0]}” is no head row; expected {', '.join(HEAD)}, then {COLUMNS[0]}"
            )
            return []
        if key in read.head:
            problem(number, "1", f"the head row {key} stands twice")
        else:
            read.head[key] = cells[1] if len(cells) > 1 else ""
            _check_head(number, key, read.head[key], problem)
            if any(cells[2:]):
                problem(number, "3", "a head row has two cells; quote a text that holds a comma")
    for key in HEAD:
        if key not in read.head:
            problem(0, "", f"the head row {key} is missing")
    if heading is None:
        problem(0, "", f"the row of headings is missing; expected {', '.join(COLUMNS)}")
        return []
    return _headings(*heading, problem)


def _check_head(row: int, key: str, value: str, problem: _Tell) -> None:
    if not value:
        problem(row, key, "it is blank; expected a value in the second cell")
    elif key == "kind":
        _word(row, key, value, ListKind, problem)
    elif key == "mark":
        _word(row, key, value, Mark, problem)
    elif key == "source_date" and not _is_date(value):
        problem(row, key, f"“{value}” is no date; expected 2026, 2026-11 or 2026-11-25")
    elif len(value) > _LONGEST.get(key, _LONGEST_TEXT):
        problem(row, key, f"longer than {_LONGEST.get(key, _LONGEST_TEXT)} characters")


def _headings(row: int, headings: list[str], problem: _Tell) -> list[str]:
    while headings and not headings[-1]:
        headings.pop()
    wrong = False
    for index, name in enumerate(headings):
        if name not in COLUMNS:
            problem(row, str(index + 1), f"unknown column “{name}”; expected {', '.join(COLUMNS)}")
            wrong = True
        elif name in headings[:index]:
            problem(row, name, "this heading stands twice")
            wrong = True
    for name in _NEEDED:
        if name not in headings:
            problem(row, name, "the column is missing")
            wrong = True
    return [] if wrong else headings


def _entries(
    rows: Iterator[tuple[int, list[str]]], columns: list[str], read: ListFile, problem: _Tell
) -> None:
    seen: dict[tuple[str, ...], int] = {}
    for number, cells in rows:
        if any(cells[len(columns) :]):
            problem(number, str(len(columns) + 1), "a cell has no heading; quote a text that holds a comma")
            continue
        given = dict(zip(columns, cells, strict=False))
        entry = {column: given.get(column, "") for column in COLUMNS}
        entry["rank"], entry["mark"] = entry["rank"].casefold(), entry["mark"].casefold()
        _check_cells(number, entry, read.head.get("kind", ""), problem)
        entry["mark"] = entry["mark"] or read.head.get("mark", "").casefold()
        name = _name(number, entry, problem)
        key = (name, entry["rank"], entry["annotation"], entry["region"])
        first = seen.setdefault(key, number)
        if name and first != number:
            problem(number, "scientific_name", f"the same entry stands in row {first}")
        read.entries.append(EntryRow(number, name, entry))


def _check_cells(row: int, entry: dict[str, str], kind: str, problem: _Tell) -> None:
    needed = (*_NEEDED, *_OF_HAZARDS) if kind.casefold() == ListKind.HAZARD else _NEEDED
    for column in needed:
        if not entry[column]:
            why = "; a hazard says it" if column in _OF_HAZARDS else ""
            problem(row, column, f"it is blank{why}")
    for column, value in entry.items():
        longest = _LONGEST.get(column, _LONGEST_TEXT)
        if len(value) > longest:
            problem(row, column, f"longer than {longest} characters")
    if entry["rank"]:
        _word(row, "rank", entry["rank"], ListedRank, problem)
    if entry["mark"]:
        _word(row, "mark", entry["mark"], Mark, problem)


def _name(row: int, entry: dict[str, str], problem: _Tell) -> str:
    """The name without signs, blank when there is a problem with it."""
    written, rank = entry["scientific_name"], entry["rank"]
    if not written or rank not in list(ListedRank):
        return ""
    parsed = parse(written)
    reading = parsed.readings[0] if parsed.readings and not parsed.parts else None
    if reading is None or reading.note or reading.genus_is_abbreviated:
        problem(row, "scientific_name", f"“{written}” cannot be read as one scientific name, written in full")
        return ""
    if (rank == ListedRank.SPECIES) != bool(reading.species):
        wanted = "two words or three" if rank == ListedRank.SPECIES else "one word"
        problem(row, "scientific_name", f"“{written}” with rank {rank}; expected a name of {wanted}")
        return ""
    return reading.canonical


def _word(row: int, column: str, value: str, words: type[StrEnum], problem: _Tell) -> None:
    known = [word.value for word in words]
    if value.casefold() not in known:
        problem(row, column, f"“{value}” is not known; expected {', '.join(known)}")


def _is_date(text: str) -> bool:
    if not _DATE.fullmatch(text):
        return False
    try:
        date.fromisoformat(f"{text}-01-01"[:10] if len(text) == 4 else f"{text}-01"[:10])
    except ValueError:
        return False
    return True
