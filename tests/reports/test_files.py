"""The files are read back: workbooks with openpyxl, prints with pypdf, csv with Python's own reader."""

import csv
import re
from io import BytesIO, StringIO
from typing import Any

import openpyxl
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from pypdf import PdfReader

from tests.change.sample import Sample

from .conftest import OF_THE_HOUSE, QUARTER, answered

pytestmark = pytest.mark.django_db


def rows_of(sheet: Any) -> list[list[Any]]:
    return [list(row) for row in sheet.iter_rows(values_only=True)]


def workbook_of(content: bytes) -> Any:
    return openpyxl.load_workbook(BytesIO(content), data_only=True)


def differences(book: Any) -> list[Any]:
    """Every value under a heading "difference" of the sheet that proves."""
    found, at = [], None
    for row in rows_of(book["Proof"])[3:]:
        if "difference" in row:
            at = row.index("difference")
        elif at is not None and row[at] is not None:
            found.append(row[at])
    return found


def kept(value: float | str | None) -> object:
    """What a cell holds: so many per cent as the share itself, to the digits that a workbook keeps."""
    return pytest.approx(value / 100) if isinstance(value, float) else value


def test_a_per_cent_is_a_number_in_files_which_the_change_and_the_opening_come_to(
    sample: Sample, reader: Client
) -> None:
    """Rounded to words it could be neither added up nor checked. From an opening of 20 on, as on the page."""
    rows = list(csv.DictReader(StringIO(reader.get("/reports/taxa.csv", QUARTER).content.decode())))
    told = [(int(row["change"]), int(row["opening"]), row["change: per cent"]) for row in rows]
    assert {bool(percent) for *_, percent in told} == {True, False}
    for change, opening, percent in told:
        assert percent == (str(round(100 * change / opening, 4)) if opening >= 20 else "")
    sheet = workbook_of(reader.get("/reports/taxa.xlsx", QUARTER).content)["Short form"]
    at = {cell.value: cell.column for cell in sheet[4]}
    shares = 0
    for row in sheet.iter_rows(min_row=5):
        change, opening, share = (row[at[name] - 1] for name in ("change", "opening", "change: per cent"))
        assert (share.value is None) == (opening.value < 20)
        if share.value is not None:
            shares += 1
            assert share.number_format == "+0.00%;-0.00%;0.00%"
            assert share.value == pytest.approx(change.value / opening.value)
    assert shares > sum(bool(percent) for *_, percent in told), "no total has its share"


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_the_workbook_holds_real_numbers_under_a_frozen_head_and_proves_its_sums(
    sample: Sample, reader: Client, layout: str
) -> None:
    answer = reader.get(f"/reports/{layout}.xlsx", QUARTER)
    book = workbook_of(answer.content)
    document = answered(layout, words=False)
    assert book.sheetnames == ["Head", *(part.title for part in document.parts), "Proof"]
    for part in document.parts:
        sheet = book[part.title]
        assert sheet.freeze_panes is not None
        by_line = {row[0]: row for row in rows_of(sheet)[4:] if isinstance(row[0], int)}
        for table in part.tables():
            for line in table.lines:
                read = by_line[line.number][-len(part.columns) :]
                figures = line.figures
                values = [kept(figures[column.key].value) for column in part.columns]
                assert read == [None if value == "" else value for value in values], line.number
    found = differences(book)
    assert len(found) > 10
    assert set(found) == {0}


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_the_formulas_of_the_proof_are_live_and_come_to_the_values_beside_them(
    sample: Sample, reader: Client, layout: str
) -> None:
    """Each SUM, SUMIFS and sum of cells is worked out again from the cells that it names."""
    content = reader.get(f"/reports/{layout}.xlsx", QUARTER).content
    live, values = openpyxl.load_workbook(BytesIO(content)), workbook_of(content)
    worked = 0
    for formulas, read in zip(live["Proof"].iter_rows(), values["Proof"].iter_rows(), strict=True):
        for formula, value in zip(formulas, read, strict=True):
            if isinstance(formula.value, str) and formula.value.startswith("="):
                assert worked_out(formula.value, values) == value.value, formula.value
                worked += 1
    assert worked > 20


_CELL = r"(?:'([^']+)'!)?\$?([A-Z]+)\$?(\d+)"


def worked_out(formula: str, book: Any) -> int:
    """A formula of the proof, from its own cells."""

    def column(text: str) -> list[Any]:
        found = re.fullmatch(rf"{_CELL}:\$?([A-Z]+)\$?(\d+)", text)
        assert found, text
        sheet, letter, first, _, last = found.groups()
        return [book[sheet][f"{letter}{row}"].value for row in range(int(first), int(last) + 1)]

    if formula.startswith("=SUM("):
        return sum(value or 0 for value in column(formula[5:-1]))
    if formula.startswith("=SUMIFS("):
        summed, *rest = re.findall(r"'[^']+'![^,)]+|\"[^\"]*\"", formula)
        wanted = list(zip(map(column, rest[::2]), (text.strip('"') for text in rest[1::2]), strict=True))
        return sum(
            value or 0
            for row, value in enumerate(column(summed))
            if all(values[row] == text for values, text in wanted)
        )
    total = 0
    for sign, term in re.findall(
        rf"([+-]?)({_CELL.replace('(', '(?:').replace('(?:?:', '(?:')}|\d+)", formula[1:]
    ):
        if term.isdigit():
            number = int(term)
        else:
            sheet, letter, row = re.fullmatch(_CELL, term).groups()  # type: ignore[union-attr]
            number = book[sheet or "Proof"][f"{letter}{row}"].value or 0
        total += -number if sign == "-" else number
    return total


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_every_part_as_csv_has_a_line_for_each_line(sample: Sample, reader: Client, layout: str) -> None:
    for part in answered(layout).parts:
        answer = reader.get(f"/reports/{layout}.csv", {**QUARTER, "part": part.key})
        rows = list(csv.reader(StringIO(answer.content.decode())))
        assert len(rows) == 1 + sum(len(table.lines) for table in part.tables())
        assert len({len(row) for row in rows}) == 1


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_the_print_has_every_line_its_totals_and_its_events_by_line_number(
    sample: Sample, reader: Client, layout: str
) -> None:
    answer = reader.get(f"/reports/{layout}.pdf", QUARTER)
    assert answer["Content-Type"] == "application/pdf"
    text = " ".join(
        page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages
    ).replace("\n", " ")  # fmt: skip
    document = answered(layout)
    assert document.title in text
    assert "Ties: opening + in - out + late = closing" in text
    assert "Present only, never added: Sycon ciliatum" in text
    for part in document.parts:
        for table in part.tables():
            for line in table.lines:
                assert (line.name.accepted if line.name else line.label) in text
    gobies = next(
        line for table in document.parts[0].tables() for line in table.lines
        if line.name and line.name.accepted == "Gobius niger"
    )  # fmt: skip
    assert f"Line {gobies.number}: Gobius niger" in text


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_the_command_writes_what_the_page_offers(
    sample: Sample, reader: Client, layout: str, tmp_path: Any
) -> None:
    days = ("--from=2026-07-01", "--to=2026-09-30")
    out = StringIO()
    call_command("report", layout, *days, "--format=csv", stdout=out, stderr=StringIO())
    assert out.getvalue() == reader.get(f"/reports/{layout}.csv", QUARTER).content.decode()
    for form in ("xlsx", "pdf"):
        path = tmp_path / f"report.{form}"
        call_command("report", layout, *days, f"--format={form}", f"--out={path}", stderr=StringIO())
        assert path.stat().st_size > 1000


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_each_table_in_print_has_its_caption_and_breaks_no_word_of_a_heading(
    sample: Sample, reader: Client, layout: str
) -> None:
    content = reader.get(f"/reports/{layout}.pdf", QUARTER).content
    words = {word for page in PdfReader(BytesIO(content)).pages for word in page.extract_text().split()}
    text = " ".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages).replace("\n", " ")
    for part in answered(layout).parts:
        for block in part.blocks:
            for table in block.tables:
                assert f"{block.title}, unit: {table.unit}" in text
                for column in part.columns:
                    assert {word.strip(",") for word in column.heading.split()} <= {
                        w.strip(",") for w in words
                    }


def test_a_file_without_a_name_is_refused_with_what_to_do(sample: Sample) -> None:
    with pytest.raises(CommandError, match="give --out FILE"):
        call_command("report", "exhibits", "--format=pdf")
    with pytest.raises(CommandError, match="there are: places, moves"):
        call_command("report", "exhibits", "--part=colours", stdout=StringIO())


def test_the_same_print_has_the_same_bytes(sample: Sample, reader: Client, frozen_clock: object) -> None:
    first, second = (reader.get("/reports/stock-list.pdf", QUARTER).content for _ in range(2))
    assert first == second
