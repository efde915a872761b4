"""The sheet that proves the sums: live formulas over the sheets of a report."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import xlsxwriter  # type: ignore[import-untyped]
from xlsxwriter.utility import xl_col_to_name  # type: ignore[import-untyped]

from census.change.files.layout import PROOF, set_up_page

from ..rules.document import Document, Figure, Identity, Line, Part, Said, Table, added, holds
from .grid import counts, leading


@dataclass(frozen=True, slots=True)
class Placed:
    """A table on its sheet: rows as a spreadsheet numbers them; its lines begin at ``first``."""

    table: Table
    first: int
    total: int


@dataclass(frozen=True, slots=True)
class Laid:
    """A part on its sheet, whose rows run from ``first`` to ``last``."""

    part: Part
    placed: Sequence[Placed]
    first: int
    last: int

    def letter(self, key: str) -> str:
        """Letter of a column."""
        return _letter(len(leading(self.part)) + [column.key for column in self.part.columns].index(key))

    def cell(self, key: str, row: int) -> str:
        return f"'{self.part.title}'!{self.letter(key)}{row}"

    def whole(self, letter: str) -> str:
        """All rows of a column."""
        return f"'{self.part.title}'!${letter}${self.first}:${letter}${self.last}"

    @property
    def unit(self) -> str:
        return _letter(len(leading(self.part)) - 1)


def _letter(number: int) -> str:
    return str(xl_col_to_name(number))


Values = list[Any]


def write_proof(
    book: xlsxwriter.Workbook, look: dict[str, Any], document: Document, laid: Sequence[Laid]
) -> None:
    """Totals, then what the program knows from elsewhere, then each line. Every difference must be 0."""
    sheet = book.add_worksheet(PROOF)
    sheet.set_column(0, 2, 26)
    sheet.set_column(3, 7, 14)
    sheet.write_string(0, 0, f"{document.title}: proof of the sums", look["title"])
    sheet.write_string(1, 0, "Every figure under “difference” must be 0. The formulas are live.")
    sheet.freeze_panes(3, 0)
    at = 3
    for table in (_totals(laid), _elsewhere(document, laid), _lines(laid)):
        at = _write(sheet, look, at, table) + 1
    set_up_page(sheet, document.title)


def _write(sheet: Any, look: dict[str, Any], at: int, table: Iterator[Values]) -> int:
    """Headings and rows; a pair is a formula and its value."""
    for i, heading in enumerate(next(table)):
        sheet.write_string(at, i, heading, look["heading"])
    for values in table:
        at += 1
        for i, value in enumerate(values):
            if isinstance(value, tuple):
                sheet.write_formula(at, i, value[0].replace("{row}", str(at + 1)), look["number"], value[1])
            elif isinstance(value, int):
                sheet.write_number(at, i, value, look["number"])
            else:
                sheet.write_string(at, i, value)
    return at + 1


def _totals(laid: Sequence[Laid]) -> Iterator[Values]:
    """Each total against the sum of its lines."""
    yield ["total of", "table", "column", "in the report", "sum of the lines", "difference"]
    for one in laid:
        for placed in one.placed:
            table = placed.table
            figures = [line.figures for line in table.lines]
            for column in one.part.columns:
                if column.summed and counts(column):
                    said = table.total[column.key].number
                    value = sum(
                        line.sign * row[column.key].number
                        for line, row in zip(table.lines, figures, strict=True)
                    )
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
        last = placed.first + max(len(lines), 1) - 1
        letter = laid.letter(key)
        return f"=SUM('{laid.part.title}'!{letter}{placed.first}:{letter}{last})"
    parts = [
        f"{'+' if line.sign == 1 else '-'}{laid.cell(key, placed.first + i)}" for i, line in enumerate(lines)
    ]
    return "=" + "".join(parts).removeprefix("+")


def _elsewhere(document: Document, laid: Sequence[Laid]) -> Iterator[Values]:
    """What the population change of the house says by itself against the sums here."""
    yield ["said elsewhere", "unit", "sheet", "in the program", "sum of the lines", "difference"]
    by_key = {one.part.key: one for one in laid}
    for said in document.said:
        one = by_key[said.part]
        value = added(one.part, said)
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
    return f"=SUMIFS({laid.whole(laid.letter(said.column))},{conditions})"


def _quoted(wanted: list[tuple[str, str]]) -> list[tuple[str, str]]:
    return [(letter, text.replace('"', '""')) for letter, text in wanted]


def _lines(laid: Sequence[Laid]) -> Iterator[Values]:
    """Each identity on each line it holds for, and on the totals."""
    yield ["sheet", "line or total", "must come to", "in and on", "out", "in the report", "difference"]
    for one in laid:
        for placed in one.placed:
            for i, line in enumerate(placed.table.lines):
                figures = line.figures
                for identity in () if line.free else one.part.identities:
                    yield _identity(one, identity, placed.first + i, figures, _called(line))
            for identity in one.part.identities:
                if identity.on_totals:
                    label = f"{placed.table.total_label} ({placed.table.unit})"
                    yield _identity(one, identity, placed.total, placed.table.total, label)


def _called(line: Line) -> str:
    words = " ".join(part for part in (line.label, line.name.accepted if line.name else "") if part)
    return f"{line.number} {words}"


def _identity(laid: Laid, identity: Identity, row: int, figures: Any, called: str) -> Values:
    heading = next(column.heading for column in laid.part.columns if column.key == identity.result)
    came = sum(_number(figures[key]) for key in identity.plus)
    went = sum(_number(figures[key]) for key in identity.minus)
    return [
        laid.part.title,
        called,
        heading,
        ("=" + "+".join(laid.cell(key, row) for key in identity.plus), came),
        ("=" + ("+".join(laid.cell(key, row) for key in identity.minus) or "0"), went),
        (f"={laid.cell(identity.result, row)}", _number(figures[identity.result])),
        ("=D{row}-E{row}-F{row}", holds(identity, figures)),
    ]


def _number(figure: Figure) -> int:
    return figure.number
