"""The sheet that proves the sums: live formulas over the sheets by taxon and by place."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

import xlsxwriter  # type: ignore[import-untyped]

from ..queries.report import Report, value_of
from ..rules.columns import BETWEEN_IN, BETWEEN_OUT, IN_COLUMNS, NUMBER_COLUMNS, OUT_COLUMNS
from .layout import HEADINGS_AT, PROOF, Layout, in_order, set_up_page

Part = tuple[Report, Layout]
_INS = (*IN_COLUMNS, *BETWEEN_IN)
_OUTS = (*OUT_COLUMNS, *BETWEEN_OUT)
# The split of deaths may be proved differently by place and by taxon, their sum may not.
_SPLIT = {"died_within_30_days", "died"}
_BETWEEN = {*BETWEEN_IN, *BETWEEN_OUT}


def write_proof(
    book: xlsxwriter.Workbook, look: dict[str, Any], title: str, taxon: Part, place: Part
) -> None:
    """Three proofs: each row, each column against the house's totals, and moves over the house.

    Every figure in the columns "difference" must be 0.
    """
    sheet = book.add_worksheet(PROOF)
    sheet.set_column(0, 1, 24)
    sheet.set_column(2, 2, 30)
    sheet.set_column(3, 3, 24)
    sheet.set_column(4, 9, 12)
    sheet.write_string(0, 0, f"{title}: proof of the sums", look["title"])
    sheet.write_string(1, 0, "Every figure under “difference” must be 0. The formulas are live.")
    line = 3
    for table in (_column_lines(taxon, place), _between_lines(taxon, place), _row_lines(taxon, place)):
        line = _write_table(sheet, look, line, table) + 1
    sheet.freeze_panes(3, 0)
    set_up_page(sheet, title)


Line = list[Any]


def _write_table(sheet: Any, look: dict[str, Any], line: int, table: Iterator[Line]) -> int:
    """Writes headings and lines and returns the line after. A pair is a formula and its value."""
    for i, heading in enumerate(next(table)):
        sheet.write_string(line, i, heading, look["heading"])
    for values in table:
        line += 1
        for i, value in enumerate(values):
            if isinstance(value, tuple):
                formula, now = value
                sheet.write_formula(line, i, formula.replace("{line}", str(line + 1)), look["number"], now)
            elif isinstance(value, int):
                sheet.write_number(line, i, value, look["number"])
            else:
                sheet.write_string(line, i, value)
    return line + 1


def _column_lines(taxon: Part, place: Part) -> Iterator[Line]:
    """Each column's total, as the program says it and as each sheet adds it up, by unit."""
    yield ["house total of", "unit", "by the program", "by taxon", "by place", "difference"]
    report = taxon[0]
    added_up = [(part, _added_up(part[0])) for part in (taxon, place)]
    groups = [
        ("deaths of all ages", ("died_within_30_days", "died")),
        *((column, (column,)) for column in NUMBER_COLUMNS if column not in _SPLIT | _BETWEEN),
    ]
    for unit, total in report.totals.items():
        for name, columns in groups:
            said = sum(value_of(total, column) for column in columns)
            sums = [
                (
                    "=" + "+".join(_sum_of_unit(part, column, unit) for column in columns),
                    sum(found[unit, column] for column in columns),
                )
                for part, found in added_up
            ]
            difference = abs(said - sums[0][1]) + abs(said - sums[1][1])
            yield [
                name.replace("_", " "),
                unit,
                said,
                *sums,
                ("=ABS(C{line}-D{line})+ABS(C{line}-E{line})", difference),
            ]


def _added_up(report: Report) -> Counter[tuple[str, str]]:
    """Sum of each column by unit, in one walk: a walk over the rows of a big house makes each of them."""
    found: Counter[tuple[str, str]] = Counter()
    for row in report.rows:
        for column in NUMBER_COLUMNS:
            found[row.unit, column] += row.value(column)
    return found


def _sum_of_unit(part: Part, column: str, unit: str) -> str:
    report, layout = part
    units, numbers = (layout.whole(name, len(report.rows)) for name in ("unit", column))
    quoted = unit.replace('"', '""')
    return f'SUMIF({units},"{quoted}",{numbers})'


def _between_lines(taxon: Part, place: Part) -> Iterator[Line]:
    """Moves leave one row and enter another, so both sums are the same; regroups too, unless
    animals changed from ours to another's within the scope "ours"."""
    yield ["between rows of the house", "sheet", "in", "out", "", "difference"]
    for report, layout in (taxon, place):
        found = _added_up(report)
        for kind in ("moved", "regrouped"):
            if kind == "regrouped" and report.question.scope.value == "ours":
                continue
            sums = []
            for column in (f"{kind}_in", f"{kind}_out"):
                formula = f"=SUM({layout.whole(column, len(report.rows))})"
                now = sum(n for (_, of_column), n in found.items() if of_column == column)
                sums.append((formula, now))
            yield [kind, layout.name, *sums, "", ("=C{line}-D{line}", sums[0][1] - sums[1][1])]


def _row_lines(taxon: Part, place: Part) -> Iterator[Line]:
    """Opening + in - out + late - closing of every row of both sheets."""
    yield ["sheet", "row", "name", "unit", "opening", "in", "out", "late", "closing", "difference"]
    for report, layout in (taxon, place):
        for i, row in enumerate(in_order(report, layout)):
            change = row.change
            came_in = sum(change.flows[column] for column in _INS)
            went_out = sum(change.flows[column] for column in _OUTS)
            yield [
                layout.name,
                HEADINGS_AT + 2 + i,
                f"{row.label} {row.taxon.scientific_name}".strip(),
                row.unit,
                (f"={layout.cell('opening', i)}", change.opening),
                ("=" + "+".join(layout.cell(column, i) for column in _INS), came_in),
                ("=" + "+".join(layout.cell(column, i) for column in _OUTS), went_out),
                (f"={layout.cell('late', i)}", change.late),
                (f"={layout.cell('closing', i)}", change.closing),
                (
                    "=E{line}+F{line}-G{line}+H{line}-I{line}",
                    change.opening + came_in - went_out + change.late - change.closing,
                ),
            ]
