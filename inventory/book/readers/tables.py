"""Matches a sheet's heading with the columns that are known, and gives its rows in their order."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from openpyxl.utils import get_column_letter

from ..rules.as_typed import Value, is_empty, text
from ..rules.drafts import Problem
from ..rules.sheets import Sheet
from .source import Row, SheetBroken, Source


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet on the way: problems of its heading, and its rows as (number, values by column)."""

    present: frozenset[str]
    rows: Iterator[tuple[int, list[Value]] | Problem]


def read_table(source: Source, title: str, sheet: Sheet) -> Table | list[Problem]:
    """The rows of ``title`` with their values in the order of ``sheet.columns``, or the heading's problems.

    Among the rows a :class:`Problem` stands for one that has more cells than headings, or for the
    point from which the sheet cannot be read. Columns that the sheet leaves out are None.
    """
    rows = source.rows(title)
    try:
        heading = next(rows, None)
    except SheetBroken as broken:
        return [_broken(sheet, broken)]
    if heading is None:
        message = f"it is empty; expected the headings {_listed(sheet.columns)}"
        return [Problem(0, f"sheet {sheet.name}", "", message)]
    places, problems = _match(heading, sheet)
    if problems:
        return problems
    present = frozenset(sheet.columns[target] for target in places if target is not None)
    return Table(present, _values(rows, places, sheet))


def _match(heading: Row, sheet: Sheet) -> tuple[list[int | None], list[Problem]]:
    """For each cell of the heading the index of its column, None where the heading is empty."""
    places: list[int | None] = []
    problems = []
    for position, cell in enumerate(heading.cells, start=1):
        letter = get_column_letter(position)
        try:
            name = text(cell).lower()
        except ValueError as error:
            problems.append(sheet.problem(heading.number, letter, f"not a heading: {error}"))
            continue
        if not name:
            places.append(None)
        elif name not in sheet.columns:
            near = get_close_matches(name, sheet.columns, n=1)
            hint = f" (did you mean {near[0]!r}?)" if near else ""
            message = f"unknown column {text(cell)!r}{hint}; expected {_listed(sheet.columns)}"
            problems.append(sheet.problem(heading.number, text(cell), message))
        elif sheet.columns.index(name) in places:
            problems.append(sheet.problem(heading.number, name, "this heading stands twice; expected once"))
        else:
            places.append(sheet.columns.index(name))
    for column in sheet.needed:
        if sheet.columns.index(column) not in places:
            problems.append(sheet.problem(heading.number, column, f"the column {column!r} is missing"))
    return places, problems


def _values(
    rows: Iterator[Row], places: Sequence[int | None], sheet: Sheet
) -> Iterator[tuple[int, list[Value]] | Problem]:
    width = len(places)
    try:
        for number, cells in rows:
            values: list[Value] = [None] * len(sheet.columns)
            for target, cell in zip(places, cells, strict=False):
                if target is not None:
                    values[target] = cell
            stray = _stray(cells, places, width)
            if stray:
                letter = get_column_letter(stray)
                yield sheet.problem(number, letter, f"column {letter} has no heading but holds a value here")
            else:
                yield number, values
    except SheetBroken as broken:
        yield _broken(sheet, broken)


def _stray(cells: Sequence[Value], places: Sequence[int | None], width: int) -> int:
    """The first column, from 1, that holds a value without a heading, or 0."""
    if len(cells) <= width and None not in places:
        return 0
    for position, cell in enumerate(cells):
        if (position >= width or places[position] is None) and not is_empty(cell):
            return position + 1
    return 0


def _broken(sheet: Sheet, broken: SheetBroken) -> Problem:
    return Problem(0, f"sheet {sheet.name}, {broken.where}", "", broken.message)


def _listed(columns: Sequence[str]) -> str:
    return ", ".join(columns)
