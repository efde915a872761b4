"""The proof of a long part: a formula for each table counts the lines that are off."""

import re
from datetime import UTC, datetime
from functools import partial
from io import BytesIO
from typing import Any

import openpyxl
import pytest

from census.reports.files import workbook
from census.reports.files.workbook import write_workbook
from census.reports.rules.document import Block, Column, Document, Figure, Identity, Line, Part, Table

COLUMNS = tuple(Column(key, key) for key in ("opening", "in", "out", "closing"))
TIES = (Identity(("opening", "in"), ("out",), "closing"),)
Row = tuple[int, int, int, int]


def line(number: int, row: Row, *, free: bool = False) -> Line:
    figures = {column.key: Figure(n) for column, n in zip(COLUMNS, row, strict=True)}
    return Line(number, None, f"=tank {number}", partial(dict, figures), free=free)


def table(lines: list[Line], label: str) -> Table:
    total = {column.key: Figure(sum(one.figures[column.key].number for one in lines)) for column in COLUMNS}
    return Table("animal", lines, total, label)


def books(tables: list[Table]) -> tuple[Any, Any]:
    """The workbook with its formulas, and with the values that stand beside them."""
    part = Part("p", "Tanks", "tank", COLUMNS, [Block("all", [], tables)], TIES)
    out = BytesIO()
    write_workbook(
        Document("taxa", "A long one", [], [part], []),
        out,
        made_at=datetime(2026, 11, 28, tzinfo=UTC),
        made="now",
    )
    return openpyxl.load_workbook(out), openpyxl.load_workbook(out, data_only=True)


def proofs(tables: list[Table]) -> dict[str, tuple[str, int]]:
    """What the proof says of lines: its words, with the formula and the value of the difference."""
    live, values = books(tables)
    found = {}
    for formula, value in zip(live["Proof"].iter_rows(), values["Proof"].iter_rows(), strict=True):
        if value[0].value == "Tanks" and value[2].value == "closing" and formula[6].value:
            found[value[1].value] = (formula[6].value, value[6].value)
    return found


def off(formula: str, book: Any) -> int:
    """A count of rows whose signed sum of cells is not 0, from the cells that the formula names."""
    inside = re.fullmatch(r"=SUMPRODUCT\(--\(\((.*)\)<>0\)\)", formula)
    assert inside, formula
    columns = []
    for sign, sheet, letter, first, last in re.findall(
        r"([+-]?)'([^']+)'!([A-Z]+)(\d+):[A-Z]+(\d+)", inside[1]
    ):
        cells = (book[sheet][f"{letter}{row}"].value for row in range(int(first), int(last) + 1))
        columns.append([-n if sign == "-" else n for n in cells])
    return sum(1 for row in zip(*columns, strict=True) if sum(row))


@pytest.fixture(autouse=True)
def _everything_is_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook, "EACH_PROVED", 3)


GOOD = [line(n, (n, 2, 1, n + 1)) for n in range(1, 6)]


def test_each_table_of_a_long_part_is_proved_by_one_formula_over_its_own_lines() -> None:
    tables = [table(GOOD, "Total of A"), table([line(6, (1, 0, 0, 1)), line(7, (3, 1, 4, 0))], "Total of B")]
    found = proofs(tables)
    live, _ = books(tables)
    together = {words: proof for words, proof in found.items() if "how many are off" in words}
    assert list(together) == [
        "5 lines of animal, Total of A: how many are off",
        "2 lines of animal, Total of B: how many are off",
    ]
    assert [off(formula, live) for formula, _ in together.values()] == [0, 0]
    assert [value for _, value in together.values()] == [0, 0]
    assert {"Total of A (animal)", "Total of B (animal)"} <= found.keys()
    assert live["Tanks"]["B5"].value == "=tank 1"
    assert live["Tanks"]["B5"].data_type == "s"


def test_lines_that_are_off_are_counted_by_the_formula_and_beside_it() -> None:
    bad = [line(8, (5, 0, 0, 4)), line(9, (5, 1, 0, 4)), line(10, (5, 0, 1, 4))]
    tables = [table([*GOOD, *bad], "Total")]
    live, _ = books(tables)
    formula, value = proofs(tables)["8 lines of animal, Total: how many are off"]
    assert value == off(formula, live) == 2


def test_a_changed_cell_is_found_by_the_formula() -> None:
    tables = [table(GOOD, "Total")]
    live, _ = books(tables)
    formula, value = proofs(tables)["5 lines of animal, Total: how many are off"]
    assert value == 0
    live["Tanks"]["F6"].value += 1
    assert off(formula, live) == 1


def test_a_table_with_a_line_for_which_the_sums_do_not_hold_is_proved_line_by_line() -> None:
    found = proofs([table([*GOOD, line(6, (0, 9, 0, 0), free=True)], "Total")])
    assert not [words for words in found if "how many are off" in words]
    assert [value for words, (_, value) in found.items() if words != "Total (animal)"] == [0] * 5
    assert "6 =tank 6" not in found
