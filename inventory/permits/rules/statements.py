"""What a return says, as plain values: columns, rows, what stands over them, and their fingerprint."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from hashlib import sha256
from typing import NamedTuple

from .collection_records import COLUMNS, Record, Value

LINE = "lineNumber"
MARK = "amendedInReturn"
GENERALISED = "dataGeneralizations"
WITHHELD = "informationWithheld"
NUMBERS = ("numberTaken", "numberLetGo", "numberDied", "numberKept")
# Written as text where values are kept, for a decimal must not become a binary fraction.
_DECIMALS = frozenset({"decimalLatitude", "decimalLongitude", "minimumDepthInMeters", "maximumDepthInMeters"})
# What tells where, and so is not for everybody.
PLACES = frozenset(
    {
        *("locality", "decimalLatitude", "decimalLongitude", "geodeticDatum"),
        *("coordinateUncertaintyInMeters", "minimumDepthInMeters", "maximumDepthInMeters"),
        *("occurrenceRemarks", "amended"),
    }
)

Kept = str | int | None
Values = Mapping[str, Kept]


class Known(NamedTuple):
    """A column that a template may choose; ``standard``: its code is a Darwin Core name."""

    code: str
    heading: str
    standard: bool


class Chosen(NamedTuple):
    """A column as a template has it."""

    code: str
    heading: str


KNOWN: Sequence[Known] = (
    Known(LINE, "line of this return", False),
    *(Known(column.code, column.heading, column.standard) for column in COLUMNS),
    Known(MARK, "amended in this return", False),
)
_HEADINGS = {known.code: known.heading for known in KNOWN}
_PLAIN = (
    *("eventDate", "locality", "decimalLatitude", "decimalLongitude", "geodeticDatum"),
    *("coordinateUncertaintyInMeters", "samplingProtocol", "recordedBy", "permitLine"),
    *("verbatimIdentification", "scientificName", *NUMBERS, "unit", "bycatch", "disposition"),
    *("occurrenceRemarks",),
)
# Where an authority has no form of its own.
PLAIN_FORM: Sequence[Chosen] = tuple(Chosen(code, _HEADINGS[code]) for code in _PLAIN)
LONGEST_HEADING = 60


class TemplateRefused(ValueError):
    """Columns that cannot be a template; ``problems`` are sentences that say what to do."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__(" ".join(problems))
        self.problems = list(problems)


def parse_columns(text: str) -> list[Chosen]:
    """One column a line: ``code = heading``, or the code alone for its own heading.

    Raises :class:`TemplateRefused` with all that is wrong, the known columns among it.
    """
    chosen: list[Chosen] = []
    problems = []
    unknown = False
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        code, _, heading = (part.strip() for part in line.partition("="))
        if code not in _HEADINGS:
            problems.append(f"Line {number}: there is no column {code!r}.")
            unknown = True
            continue
        heading = heading or _HEADINGS[code]
        if len(heading) > LONGEST_HEADING:
            problems.append(f"Line {number}: a heading has at most {LONGEST_HEADING} letters.")
        if any(code == one.code for one in chosen):
            problems.append(f"Line {number}: the column {code} stands twice.")
        elif any(heading == one.heading for one in chosen):
            problems.append(f"Line {number}: two columns are headed {heading!r}; name them apart.")
        chosen.append(Chosen(code, heading))
    if not chosen and not problems:
        problems.append("A template has at least one column.")
    if unknown:
        problems.append(f"The columns are: {', '.join(known.code for known in KNOWN)}.")
    if problems:
        raise TemplateRefused(problems)
    return chosen


def columns_text(columns: Iterable[Chosen]) -> str:
    """Columns as they are typed."""
    return "\n".join(
        one.code if one.heading == _HEADINGS[one.code] else f"{one.code} = {one.heading}" for one in columns
    )


def with_needed(columns: Sequence[Chosen], *, amended: bool, coarse: bool) -> list[Chosen]:
    """The columns with those that a file must have: what an amended return amends, what was made coarse."""
    needed = [MARK] if amended else []
    have = {one.code for one in columns}
    front = [_own(code, columns) for code in needed if code not in have]
    back = [_own(code, columns) for code in ((GENERALISED, WITHHELD) if coarse else ()) if code not in have]
    return [*front, *columns, *back]


def _own(code: str, columns: Sequence[Chosen]) -> Chosen:
    heading = _HEADINGS[code]
    taken = {one.heading for one in columns}
    return Chosen(code, heading if heading not in taken else code)


def heading_of(code: str) -> str:
    """What a column is called when no template says otherwise."""
    return _HEADINGS[code]


def values_of(record: Record) -> dict[str, Kept]:
    """All columns of a record, as they are kept."""
    return {column.code: _kept(column.of(record)) for column in COLUMNS}


def _kept(value: Value) -> Kept:
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a return. ``values`` are those that are told."""

    line: int
    values: Values
    mark: str = ""
    withdrawn: bool = False

    def cell(self, code: str) -> Value:
        """What stands in a column: numbers as numbers."""
        if code == LINE:
            return self.line
        if code == MARK:
            return self.mark
        value = self.values.get(code)
        if code in _DECIMALS and isinstance(value, str) and value:
            return Decimal(value)
        return value


def withdrawn_values(values: Values) -> dict[str, Kept]:
    """A row that is no longer in the return: what it said, with nothing in its numbers."""
    return {**values, **dict.fromkeys(NUMBERS, 0), "numberIntoStock": None, "disposition": ""}


def totals(rows: Iterable[Values]) -> dict[str, tuple[int, int, int, int]]:
    """Taken, let go, died, kept: by unit."""
    found: dict[str, tuple[int, int, int, int]] = {}
    for values in rows:
        before = found.get(str(values["unit"]), (0, 0, 0, 0))
        mine = [int(values[code] or 0) for code in NUMBERS]
        found[str(values["unit"])] = tuple(a + b for a, b in zip(before, mine, strict=True))  # type: ignore[assignment]
    return found


def total_words(numbers: tuple[int, int, int, int]) -> str:
    """ "7 taken: 1 let go alive, 2 died in the process, 4 kept\""""
    return "{} taken: {} let go alive, {} died in the process, {} kept".format(*numbers)


@dataclass(frozen=True, slots=True)
class Statement:
    """A return as it is written into files: the same statement gives the same bytes."""

    title: str
    name: str
    head: Sequence[tuple[str, str]]
    columns: Sequence[Chosen]
    rows: Sequence[Row]
    made_on: date
    signer: str
    fingerprint: str = field(default="")


def fingerprint(head: Sequence[tuple[str, str]], columns: Sequence[Chosen], rows: Sequence[Row]) -> str:
    """SHA-256 of all that a return says, whatever the file."""
    said = {
        "head": [list(pair) for pair in head],
        "columns": [list(one) for one in columns],
        "rows": [[_plain(row.cell(one.code)) for one in columns] for row in rows],
    }
    return sha256(json.dumps(said, ensure_ascii=False, sort_keys=True).encode()).hexdigest()


def _plain(value: Value) -> Kept:
    return _kept(value)
