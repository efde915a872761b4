"""The sheet that proves the sums: live formulas over the sheets of a report."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import xlsxwriter  # type: ignore[import-untyped]
from xlsxwriter.utility import xl_col_to_name  # type: ignore[import-untyped]

from census.change.files.layout import PROOF, set_up_page

from ..rules.checking import Check, Held, held
from ..rules.document import Document, Identity, Line, Part, Said, Table
from .grid import counts, leading


@dataclass(frozen=True, slots=True)
class Placed:
    """A table on its sheet: rows as a spreadsheet numbers them; its lines begin at ``first``.

    ``held``: each line's name and what its identities came to. Empty in a long part, where the lines of a
    table are proved together: ``off`` says on how many of them an identity does not hold.
    """

    table: Table
    first: int
    total: int
    held: Sequence[tuple[str, Sequence[Held]]]
    off: Mapping[Identity, int]

    @property
    def last(self) -> int:
        return self.first + max(len(self.table.lines), 1) - 1

    @property
    def bearing(self) -> bool:
        """Whether the identities are to hold on its lines."""
        return any(not line.free for line in self.table.lines)


@dataclass(frozen=True, slots=True)
class Laid:
    """A part on its sheet, whose rows run from ``first`` to ``last``.

    ``unit`` is the letter of its units, ``letters`` are those of its figures by key. They are found once: a
    long proof asks for a million.
    """

    part: Part
    placed: Sequence[Placed]
    first: int
    last: int
    unit: str = field(init=False)
    letters: Mapping[str, str] = field(init=False)

    def __post_init__(self) -> None:
        before = len(leading(self.part))
        letters = {column.key: _letter(at) for at, column in enumerate(self.part.columns, start=before)}
        object.__setattr__(self, "unit", _letter(before - 1))
        object.__setattr__(self, "letters", letters)

    def cell(self, key: str, row: int) -> str:
        return f"'{self.part.title}'!{self.letters[key]}{row}"

    def column(self, key: str, placed: Placed) -> str:
        """A column over the lines of one table."""
        letter = self.letters[key]
        return f"'{self.part.title}'!{letter}{placed.first}:{letter}{placed.last}"

    def whole(self, letter: str) -> str:
        """All rows of a column."""
        return f"'{self.part.title}'!${letter}${self.first}:${letter}${self.last}"


def _letter(number: int) -> str:
    return str(xl_col_to_name(number))


Values = list[Any]
# In letters: the name of a line is the longest. Then come figures.
_WIDTHS = (24, 52, 34, *([17] * 5))
_WORDS = 3


def write_proof(
    book: xlsxwriter.Workbook, look: dict[str, Any], document: Document, laid: Sequence[Laid], check: Check
) -> None:
    """Totals, then what the program knows from elsewhere, then each line. Every difference must be 0."""
    sheet = book.add_worksheet(PROOF)
    for i, width in enumerate(_WIDTHS):
        sheet.set_column(i, i, width)
    sheet.write_string(0, 0, f"{document.title}: proof of the sums", look["title"])
    sheet.write_string(1, 0, "Every figure under “difference” must be 0. The formulas are live.")
    sheet.freeze_panes(3, 0)
    at = 3
    for table in (_totals(laid, check), _elsewhere(document, laid, check), _lines(laid)):
        at = _write(sheet, look, at, table) + 1
    set_up_page(sheet, document.title)


def _write(sheet: Any, look: dict[str, Any], at: int, table: Iterator[Values]) -> int:
    """Headings and rows; a pair is a formula and its value."""
    for i, heading in enumerate(next(table)):
        sheet.write_string(at, i, heading, look["heading number" if i >= _WORDS else "heading"])
    for values in table:
        at += 1
        for i, value in enumerate(values):
            if isinstance(value, tuple):
                sheet.write_formula(at, i, value[0].replace("{row}", str(at + 1)), look["number"], value[1])
            elif isinstance(value, int):
                sheet.write_number(at, i, value, look["number"])
            else:
                sheet.write_string(at, i, value, look["text"])
    return at + 1


def _totals(laid: Sequence[Laid], check: Check) -> Iterator[Values]:
    """Each total against the sum of its lines."""
    yield ["total of", "table", "column", "in the report", "sum of the lines", "difference"]
    for one in laid:
        for placed in one.placed:
            table = placed.table
            if not table.total_label:
                continue
            sums = check.sums(one.part, table)
            for column in one.part.columns:
                if column.summed and counts(column):
                    said = table.total[column.key].number
                    value = sums[column.key]
                    yield [
                        one.part.title,
                        f"{table.total_label} ({table.unit})",
                        column.heading,
                        (f"={one.cell(column.key, placed.total)}", said),
                        (_sum(one, placed, column.key), value),
                        ("=D{row}-E{row}", said - value),
                    ]


def _sum(laid: Laid, placed: Placed, key: str) -> str:
    lines = placed.table.lines
    if all(line.sign == 1 for line in lines):
        return f"=SUM({laid.column(key, placed)})"
    parts = [
        f"{'+' if line.sign == 1 else '-'}{laid.cell(key, placed.first + i)}" for i, line in enumerate(lines)
    ]
    return "=" + "".join(parts).removeprefix("+")


def _elsewhere(document: Document, laid: Sequence[Laid], check: Check) -> Iterator[Values]:
    """What the population change of the house says by itself against the sums here."""
    yield ["said elsewhere", "unit", "sheet", "in the program", "sum of the lines", "difference"]
    by_key = {one.part.key: one for one in laid}
    for said in document.said:
        one = by_key[said.part]
        value = check.added(said)
        yield [
            said.what,
            said.unit,
            one.part.title,
            said.value,
            (_sum_if(one, said), value),
            ("=D{row}-E{row}", said.value - value),
        ]


def _sum_if(laid: Laid, said: Said) -> str:
    wanted = [(laid.unit, said.unit), *([("B", said.label)] if said.label else [])]
    conditions = ",".join(f'{laid.whole(letter)},"{text}"' for letter, text in _quoted(wanted))
    return f"=SUMIFS({laid.whole(laid.letters[said.column])},{conditions})"


def _quoted(wanted: list[tuple[str, str]]) -> list[tuple[str, str]]:
    return [(letter, text.replace('"', '""')) for letter, text in wanted]


def _lines(laid: Sequence[Laid]) -> Iterator[Values]:
    """Each identity on each line it holds for, and on the totals. In a long part the lines of a table are
    proved by one formula for each identity, which counts those that are off."""
    yield ["sheet", "line or total", "must come to", "in and on", "out", "in the report", "difference"]
    for one in laid:
        for placed in one.placed:
            for i, (called, of_line) in enumerate(placed.held):
                for proved in of_line:
                    yield _identity(one, proved, placed.first + i, called)
            if not placed.held and placed.bearing:
                for identity in one.part.identities:
                    yield _together(one, placed, identity)
            if not placed.table.total_label:
                continue
            label = f"{placed.table.total_label} ({placed.table.unit})"
            for proved in held(one.part, None, placed.table.total):
                yield _identity(one, proved, placed.total, label)


def called(line: Line) -> str:
    """How the proof names a line."""
    words = " ".join(part for part in (line.label, line.name.accepted if line.name else "") if part)
    return f"{line.number} {words}"


def _identity(laid: Laid, proved: Held, row: int, called: str) -> Values:
    identity = proved.identity
    return [
        laid.part.title,
        called,
        _heading(laid, identity),
        ("=" + "+".join(laid.cell(key, row) for key in identity.plus), proved.came),
        ("=" + ("+".join(laid.cell(key, row) for key in identity.minus) or "0"), proved.went),
        (f"={laid.cell(identity.result, row)}", proved.result),
        ("=D{row}-E{row}-F{row}", proved.off),
    ]


def _together(laid: Laid, placed: Placed, identity: Identity) -> Values:
    terms = [
        f"{sign}{laid.column(key, placed)}"
        for sign, keys in (("+", identity.plus), ("-", (*identity.minus, identity.result)))
        for key in keys
    ]
    table = placed.table
    lines = f"{len(table.lines)} lines of {table.unit}"
    return [
        laid.part.title,
        f"{lines}{f', {table.total_label}' if table.total_label else ''}: how many are off",
        _heading(laid, identity),
        "",
        "",
        "",
        (f"=SUMPRODUCT(--(({''.join(terms).removeprefix('+')})<>0))", placed.off.get(identity, 0)),
    ]


def _heading(laid: Laid, identity: Identity) -> str:
    return next(column.heading for column in laid.part.columns if column.key == identity.result)
