"""The sheets in which a house keeps permits, trips, takes, sightings and loans: columns, and how they read.

Several things in one cell are joined with ``|``. The columns are a contract: one is added, never changed.
"""

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import Any

from inventory.book.rules import as_typed
from inventory.book.rules.as_typed import Value
from inventory.book.rules.sheets import Sheet

PERMITS = Sheet(
    "permits",
    columns=(
        *("number", "version", "change", "amended_on", "short", "authority", "authority_name", "return_days"),
        *("holder", "kind", "valid_from", "valid_until", "people", "area_words", "area", "gear", "seasons"),
        *("conditions", "let_go_alive_counts", "notice_days", "missing_is_notice", "stock_statement"),
        *("return_due_on", "why", "entered", "entered_by", "waters"),
    ),
    needed=("number", "authority", "holder", "valid_from", "valid_until"),
    longest={
        **{"number": 60, "short": 12, "authority": 20, "authority_name": 200, "holder": 200, "kind": 60},
        **{"area_words": 300, "stock_statement": 20, "why": 300, "entered_by": 120},
    },
)
PERMIT_LINES = Sheet(
    "permit_lines",
    columns=(
        *("permit", "version", "line", "words", "covers", "names", "limit", "per", "unit", "sex"),
        *("condition", "smallest_mm", "largest_mm", "let_go_alive_counts"),
    ),
    needed=("permit", "words"),
    longest={"permit": 60, "words": 300, "unit": 40, "condition": 200},
)
TRIPS = Sheet(
    "trips",
    columns=(
        *("ref", "permit", "happened", "people", "locality", "latitude", "longitude", "datum"),
        *("uncertainty_m", "depth_from_m", "depth_to_m", "gear", "vessel", "note", "entered", "entered_by"),
    ),
    needed=("ref", "permit", "happened"),
    longest={
        **{"ref": 120, "permit": 60, "locality": 200, "datum": 40, "gear": 120, "vessel": 80},
        **{"entered_by": 120},
    },
)
TAKES = Sheet(
    "takes",
    columns=(
        *("ref", "trip", "permit", "line", "name", "caught", "let_go", "died", "kept", "unit", "into_stock"),
        *("bycatch", "sex", "stage", "size_mm", "berried", "accession", "individual", "place", "events"),
        *("remarks", "replaces", "why", "entered", "entered_by"),
    ),
    needed=("ref", "trip", "name"),
    longest={
        **{"ref": 120, "trip": 120, "permit": 60, "name": 200, "unit": 40, "stage": 20, "accession": 40},
        **{"place": 20, "replaces": 120, "why": 300, "entered_by": 120},
    },
)
SIGHTINGS = Sheet(
    "sightings",
    columns=(
        *("accession", "place", "happened", "permit", "line", "mark", "number", "sex", "stage"),
        "entered_by",
    ),
    needed=("accession", "place", "happened", "permit", "mark"),
    longest={
        **{"accession": 40, "place": 20, "permit": 60, "mark": 120, "stage": 20, "entered_by": 120},
    },
)
LOANS = Sheet(
    "loans",
    columns=(
        *("reference", "direction", "party", "agreement", "starts_on", "until", "confirm_every_months"),
        *("young_words", "young_part", "young_from_day", "lots", "young", "confirmed", "ended_on"),
        *("entered", "entered_by"),
    ),
    needed=("reference", "direction", "party", "starts_on"),
    longest={"reference": 40, "party": 120, "agreement": 300, "young_words": 200, "entered_by": 120},
)

Reader = Callable[[Value], Any]
_DEGREES = re.compile(r"[+-]?[0-9]{1,3}(\.[0-9]+)?")
_SEASON = re.compile(r"([0-9]{2}-[0-9]{2})\s+to\s+([0-9]{2}-[0-9]{2})")


def several(cell: Value) -> tuple[str, ...]:
    """What a cell joins with ``|``."""
    return tuple(part.strip() for part in as_typed.text(cell).split("|") if part.strip())


def day(cell: Value) -> date:
    """One day."""
    happened = as_typed.happened(cell)
    if happened.start != happened.end or isinstance(happened.start, datetime):
        raise ValueError(f"{happened} is not one day; expected YYYY-MM-DD")
    return happened.start


def days(cell: Value) -> tuple[date, ...]:
    """Several days."""
    return tuple(day(part) for part in several(cell))


def degrees(cell: Value) -> Decimal | None:
    """Decimal degrees, with a sign; minutes and seconds are asked to be converted."""
    words = as_typed.text(cell)
    if not words:
        return None
    if not _DEGREES.fullmatch(words):
        raise ValueError(f"{words!r} is not in decimal degrees; expected such as 60.4213 or -4.105")
    return Decimal(words).quantize(Decimal("0.000001"))


def area(cell: Value) -> tuple[tuple[float, float], ...]:
    """The corners of an area: "longitude latitude | longitude latitude | ...\""""
    corners = []
    for part in several(cell):
        pair = part.replace(",", " ").split()
        if len(pair) != 2:
            raise ValueError(f"{part!r} is no corner; expected longitude and latitude, such as -4.2 60.5")
        longitude, latitude = (degrees(number) for number in pair)
        if longitude is None or latitude is None or abs(latitude) > 90 or abs(longitude) > 180:
            raise ValueError(f"{part!r} lies on no globe; expected longitude, then latitude")
        corners.append((float(longitude), float(latitude)))
    return tuple(corners)


def seasons(cell: Value) -> tuple[tuple[str, str], ...]:
    """ "04-01 to 09-30", first and last day of each."""
    found = []
    for part in several(cell):
        match = _SEASON.fullmatch(part)
        if match is None:
            raise ValueError(f"{part!r} is no season; expected MM-DD to MM-DD")
        for mark in match.groups():
            # A leap year, so that 29 February is a day.
            date.fromisoformat(f"2024-{mark}")
        found.append((match[1], match[2]))
    return tuple(found)


def part(cell: Value) -> Fraction:
    """A part such as 1/2; 0 is none, 1 is all."""
    words = as_typed.text(cell)
    try:
        found = Fraction(words)
    except (ValueError, ZeroDivisionError):
        raise ValueError(f"{words!r} is no part; expected such as 1/2, 0 or 1") from None
    if not 0 <= found <= 1:
        raise ValueError(f"{words!r} is no part of a whole; expected 0 to 1")
    return found


def young(cell: Value) -> tuple[tuple[str, date], ...]:
    """Lots of young with their birthdays: "0001234 2026-06-14 | ...\""""
    found = []
    for words in several(cell):
        accession, _, born = words.rpartition(" ")
        if not accession:
            raise ValueError(f"{words!r} says no lot; expected an accession number and a day of birth")
        found.append((accession.strip(), day(born)))
    return tuple(found)


def word(cell: Value) -> str:
    """One of our own words, in small letters."""
    return as_typed.text(cell).lower()


_DECIMAL = partial(as_typed.decimal_number, digits=6, places=1)
# What a column is read as when it is no plain text, by its name in whatever sheet.
_SPECIAL: Mapping[str, Reader] = {
    **dict.fromkeys(
        (
            *("version", "return_days", "notice_days", "line", "limit", "smallest_mm", "largest_mm"),
            *("uncertainty_m", "caught", "let_go", "died", "kept", "into_stock", "size_mm"),
            *("confirm_every_months", "young_from_day"),
        ),
        as_typed.whole_number,
    ),
    **dict.fromkeys(("let_go_alive_counts", "missing_is_notice"), as_typed.yes_or_no),
    **dict.fromkeys(("bycatch", "berried", "individual"), as_typed.yes_or_no),
    **dict.fromkeys(
        ("amended_on", "valid_from", "valid_until", "return_due_on", "starts_on", "until", "ended_on"), day
    ),
    **dict.fromkeys(("people", "names", "events", "lots"), several),
    **dict.fromkeys(("latitude", "longitude"), degrees),
    **dict.fromkeys(("depth_from_m", "depth_to_m"), _DECIMAL),
    **dict.fromkeys(("change", "per", "covers", "sex", "direction", "waters"), word),
    "area": area,
    "seasons": seasons,
    "happened": as_typed.happened,
    "young_part": part,
    "young": young,
    "confirmed": days,
}
# The same word is a list on a permit and plain text on a slip.
_OF_SHEET: Mapping[str, Mapping[str, Reader]] = {
    PERMITS.name: {"gear": several},
    SIGHTINGS.name: {"number": as_typed.whole_number},
}


def readers_of(sheet: Sheet) -> dict[str, Reader]:
    """How the cells of a sheet are read that are no plain text."""
    special = {column: _SPECIAL[column] for column in sheet.columns if column in _SPECIAL}
    return special | dict(_OF_SHEET.get(sheet.name, {}))
