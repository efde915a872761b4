"""The workbook: real numbers, live formulas, and a proof that holds when it is calculated."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.core.management import call_command
from django.utils.timezone import get_current_timezone

from census.change.files.workbook import write_workbook
from census.change.queries.report import change_report
from census.change.rules.columns import COLUMNS, HEADINGS
from census.change.rules.question import By, Question
from inventory.book.rules.scope import Scope
from inventory.names.models import BackboneRelease
from tests.factories import make_house

from .sample import THIRD_QUARTER, Sample, make_sample

pytestmark = pytest.mark.django_db


@pytest.fixture
def sample() -> Sample:
    make_house(name="Test Aquarium", licence_number="T-7")
    return make_sample()


def _write(sample: Sample, path: Path, question: Question = THIRD_QUARTER) -> Any:
    out = path / "change.xlsx"
    write_workbook(question, out, made_at=sample.book.moment("2026-10-06"), zone=sample.book.zone)
    return openpyxl.load_workbook(out)


def _lines(sheet: Any) -> list[dict[str, Any]]:
    """Rows of a data sheet by heading, without the totals."""
    headings = [cell.value for cell in sheet[4]]
    rows = [
        dict(zip(headings, values, strict=True)) for values in sheet.iter_rows(min_row=5, values_only=True)
    ]
    return [row for row in rows if row["name"] != "total"]


@pytest.mark.parametrize("by", [By.TAXON, By.PLACE])
def test_the_sheets_hold_the_figures_of_the_report_as_numbers(sample: Sample, tmp_path: Path, by: By) -> None:
    lines = _lines(_write(sample, tmp_path)[f"By {by}"])
    report = change_report(replace(THIRD_QUARTER, by=by), zone=get_current_timezone())
    expected = sorted(
        (
            row.label,
            row.taxon.scientific_name,
            row.unit,
            *(row.value(column) for column in COLUMNS),
            row.young_most,
        )
        for row in report.rows
    )
    found = sorted(
        (
            *(line.get("place", ""), line["name"], line["unit"]),
            *(line[HEADINGS[column]] for column in COLUMNS),
            line["died within 30 days, most"],
        )
        for line in lines
    )
    assert found == expected


def test_a_head_sheet_says_what_the_figures_are(sample: Sample, tmp_path: Path) -> None:
    BackboneRelease.objects.create(
        name="Invented backbone", version="2026", is_current=True, loaded_at=sample.book.moment("2026-01-01")
    )
    book = _write(sample, tmp_path)
    said = {row[0]: row[1] for row in book["Head"].iter_rows(min_row=3, values_only=True)}
    assert said["house"] == "Test Aquarium"
    assert said["licence"] == "T-7"
    assert said["period"] == "2026-07-01 to 2026-09-30, both days inside"
    assert said["basis"] == "as reported (opening: 2026 Q2 version 1; closing: not closed, as known now)"
    assert said["units"] == "animal, colony, egg case"
    assert said["names"] == "accepted names of Invented backbone 2026"
    assert said["time zone"] == "Atlantic/Faroe"
    assert said["check"].startswith("Ties")
    assert said["present only"] == "Sycon ciliatum"
    assert book.properties.title == "Population change, 1 July 2026 to 30 September 2026"


@pytest.mark.parametrize("sheet", ["By taxon", "By place"])
def test_headings_stay_in_sight_and_on_every_printed_page(sample: Sample, tmp_path: Path, sheet: str) -> None:
    found = _write(sample, tmp_path)[sheet]
    assert found.freeze_panes.endswith("5")
    assert found.print_title_rows == "$4:$4"
    assert found.page_setup.orientation == "landscape"
    assert found.sheet_properties.pageSetUpPr.fitToPage


# A calculator for the few formulas that the proof uses, apart from the program that wrote them.

_REF = re.compile(r"(?:'([^']+)'!)?\$?([A-Z]+)\$?(\d+)(?::\$?([A-Z]+)\$?(\d+))?")


class _Calculator:
    def __init__(self, book: Any) -> None:
        self.book = book

    def cell(self, sheet: str, reference: str) -> Any:
        value = self.book[sheet][reference].value
        return self.formula(sheet, value[1:]) if isinstance(value, str) and value.startswith("=") else value

    def area(self, sheet: str, reference: str) -> Iterator[Any]:
        named, first, top, last, bottom = _REF.fullmatch(reference).groups()  # type: ignore[union-attr]
        for row in self.book[named or sheet][f"{first}{top}:{last or first}{bottom or top}"]:
            for cell in row:
                yield self.cell(named or sheet, cell.coordinate)

    def formula(self, sheet: str, text: str) -> Any:
        def sum_if(match: re.Match[str]) -> str:
            where, wanted, numbers = match.groups()
            pairs = zip(self.area(sheet, where), self.area(sheet, numbers), strict=True)
            return f"({sum(n for unit, n in pairs if unit == wanted)})"

        def total(match: re.Match[str]) -> str:
            return f"({sum(self.area(sheet, match.group(1)))})"

        def single(match: re.Match[str]) -> str:
            return f"({self.cell(match.group(1) or sheet, match.group(2) + match.group(3))})"

        text = re.sub(r'SUMIF\(([^,]+),"([^"]*)",([^)]+)\)', sum_if, text)
        text = re.sub(r"SUM\(([^)]+)\)", total, text)
        text = _REF.sub(single, text).replace("ABS", "abs")
        assert re.fullmatch(r"[\d\s()+\-abs]+", text), text
        return eval(text)


@pytest.mark.parametrize("scope", list(Scope))
def test_the_proof_holds_when_it_is_calculated(sample: Sample, tmp_path: Path, scope: Scope) -> None:
    book = _write(sample, tmp_path, replace(THIRD_QUARTER, scope=scope))
    calculator, proof = _Calculator(book), book["Proof"]
    cached = openpyxl.load_workbook(tmp_path / "change.xlsx", data_only=True)["Proof"]
    differences = formulas = 0
    headings: dict[int, Any] = {}
    for row in proof.iter_rows(min_row=4):
        if row[0].value and not any(str(cell.value).startswith("=") for cell in row):
            headings = {cell.column: cell.value for cell in row}
            continue
        for cell in row:
            if str(cell.value).startswith("="):
                formulas += 1
                value = calculator.cell("Proof", cell.coordinate)
                assert value == cached[cell.coordinate].value, cell.coordinate
                if headings[cell.column] == "difference":
                    differences += 1
                    assert value == 0, cell.coordinate
    by_taxon, by_place = (len(_lines(book[name])) for name in ("By taxon", "By place"))
    assert differences > by_taxon + by_place + 20
    assert formulas > 6 * (by_taxon + by_place)


def test_the_proof_fails_when_a_figure_is_changed(sample: Sample, tmp_path: Path) -> None:
    book = _write(sample, tmp_path)
    sheet = book["By taxon"]
    closing = [cell.value for cell in sheet[4]].index(HEADINGS["closing"]) + 1
    sheet.cell(row=5, column=closing).value += 1
    calculator = _Calculator(book)
    wrong = [
        row[9].coordinate
        for row in book["Proof"].iter_rows(min_row=4)
        if row[0].value == "By taxon" and str(row[9].value).startswith("=")
        if calculator.cell("Proof", row[9].coordinate) != 0
    ]
    assert len(wrong) == 1


def test_another_grouping_gets_a_sheet_of_its_own(sample: Sample, tmp_path: Path) -> None:
    book = _write(sample, tmp_path, replace(THIRD_QUARTER, by=By.SOURCE))
    assert book.sheetnames == ["Head", "By taxon", "By place", "By source", "Proof"]
    assert {line["source"] for line in _lines(book["By source"])} >= {
        "divided + opening stock",
        "P2 + opening stock",
    }


def test_the_command_writes_the_workbook(
    sample: Sample, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "quarter.xlsx"
    call_command("change", "--from=2026-07-01", "--to=2026-09-30", "--format=xlsx", f"--out={out}")
    assert len(_lines(openpyxl.load_workbook(out)["By taxon"])) == 6
    assert str(out) in capsys.readouterr().err
