"""Finds censuses, sheets and lines by the names that people use; errors say what there is."""

import re

from django.db.models import QuerySet

from ..models import Census, Line, Sheet

_PLACE_AND_NAME = re.compile(r"\s*(\S+)\s+(.+?)\s*(?:\(([^)]+)\))?\s*")
_LINE = re.compile(r"\s*(\S+)\s+(?:line\s+)?(\d+)\s*", re.IGNORECASE)


class NotFound(Exception):
    """Nothing has this name; the message says what was expected."""


def census_of(code: str) -> Census:
    """The census called ``code``."""
    census = (
        Census.objects.select_related("period", "opened_by", "version")
        .filter(code__iexact=code.strip())
        .first()
    )
    if census is None:
        known = ", ".join(Census.objects.values_list("code", flat=True)) or "none is open"
        raise NotFound(f"there is no census {code!r}; there is: {known}")
    return census


def sheet_of(number: str) -> Sheet:
    """The sheet with this number."""
    sheet = (
        Sheet.objects.select_related("census__period", "place").filter(number__iexact=number.strip()).first()
    )
    if sheet is None:
        raise NotFound(f"there is no sheet {number!r}; a number looks like CS-26Q3-07")
    return sheet


def line_called(ref: str) -> Line:
    """The line called ``CS-26Q3-07 line 5`` (or ``CS-26Q3-07 5``)."""
    match = _LINE.fullmatch(ref)
    if not match:
        raise NotFound(f"{ref!r} is not a line; expected for example: CS-26Q3-07 line 5")
    line = (
        Line.objects.select_related("sheet__census", "place", "taxon")
        .filter(sheet__number__iexact=match[1], number=int(match[2]))
        .first()
    )
    if line is None:
        raise NotFound(f"there is no line {match[2]} on a sheet {match[1]!r}")
    return line


def find_line(census: Census, text: str) -> Line:
    """A line of the census by its number (``CS-26Q3-07 line 5``) or by place and name.

    ``E07 Gobius niger``; another unit than animals stands in brackets behind it:
    ``E12 Scyliorhinus canicula (egg case)``.
    """
    if _LINE.fullmatch(text):
        line = line_called(text)
        if line.sheet.census_id != census.pk:
            raise NotFound(f"{line} belongs to another census than {census.code}")
        return line
    match = _PLACE_AND_NAME.fullmatch(text)
    if not match:
        raise NotFound(f"{text!r} is not a line; expected CS-26Q3-07 line 5, or a place and a name")
    return line_of(census, place=match[1], name=match[2], unit=match[3] or "")


def line_of(
    census: Census, *, place: str, name: str, unit: str = "", kind: str = "", accession: str = ""
) -> Line:
    """The one line of a taxon (or written name) in a place; raises when there is none or several.

    Without a unit, the line of animals is meant where there is one of egg cases beside it.
    """
    found: QuerySet[Line] = Line.objects.select_related("sheet__census", "place", "taxon").filter(
        sheet__census=census, sheet__replaced_by=None, place__code=place
    )
    if unit:
        found = found.filter(unit=unit)
    if kind:
        found = found.filter(kind=kind)
    if accession:
        found = found.filter(lots__accession=accession)
    lines = [
        line
        for line in found
        if name in (line.written_name, line.taxon.scientific_name if line.taxon else "")
    ]
    animals = [line for line in lines if line.unit == "animal"]
    if len(lines) > 1 and len(animals) == 1:
        return animals[0]
    if not lines:
        raise NotFound(f"no line of {name} in {place}")
    if len(lines) > 1:
        listed = ", ".join(str(line) for line in lines)
        raise NotFound(f"{len(lines)} lines of {name} in {place} ({listed}); give the number of one")
    return lines[0]
