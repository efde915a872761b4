"""Files as people have them: workbooks and csv of all kinds, and what is no workbook at all."""

import zipfile
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.readers import NotReadable, SheetBroken, Source, Table, guard, open_source, read_table
from inventory.book.rules.as_typed import Unreadable, Value, whole_number
from inventory.book.rules.drafts import Problem
from inventory.book.rules.sheets import EVENTS, LOTS, PLACES, Sheet
from tests.book.load_files import write_folder, write_workbook

OLE = bytes.fromhex("d0cf11e0a1b11ae1")


def cells(source: Source, sheet: str) -> list[tuple[Value, ...]]:
    return [row.cells for row in source.rows(sheet)]


def table_of(path: Path, sheet: Sheet) -> list[tuple[int, list[Value]] | Problem]:
    with open_source(path) as source:
        table = read_table(source, sheet.name, sheet)
        return list(table.rows) if isinstance(table, Table) else list(table)


def csv_of(folder: Path, name: str, content: str | bytes) -> Path:
    data = content.encode() if isinstance(content, str) else content
    (folder / f"{name}.csv").write_bytes(data)
    return folder


def _change_part(path: Path, before: bytes, after: bytes) -> None:
    """Changes the text of a workbook's first sheet, as another program would have written it."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = "xl/worksheets/sheet1.xml"
    assert before in parts[name]
    parts[name] = parts[name].replace(before, after)
    with zipfile.ZipFile(path, "w") as archive:
        for part, content in parts.items():
            archive.writestr(part, content)


# What is no workbook


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("house.xlsx", b"", "the file is empty"),
        ("house.xlsx", b"ref,kind\n", "not a workbook; expected an .xlsx file"),
        ("house.xlsx", b"%PDF-1.7", "not a workbook"),
        ("house.xlsx", OLE + b"\0" * 600, r"the old format \(.xls\); save it as .xlsx"),
        (
            "house.xlsx",
            OLE + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"),
            "is encrypted; open it, remove",
        ),
        ("events.csv", b"ref,kind\n", "give the folder that holds it"),
    ],
)
def test_a_file_that_is_not_a_workbook_is_told_what_it_is(
    tmp_path: Path, name: str, content: bytes, told: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(NotReadable, match=told):
        open_source(path)


def test_a_zip_archive_that_holds_no_workbook_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "house.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("letter.txt", "no workbook")
    with pytest.raises(NotReadable, match="but not a workbook"):
        open_source(path)


def test_a_workbook_that_unpacks_to_far_more_than_it_is_worth_is_refused(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "house.xlsx", {"events": [{"ref": "a"}]})
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet9.xml", b" " * (40 << 20))
    assert path.stat().st_size < 1 << 20
    with pytest.raises(NotReadable, match=r"packed \d+-fold \(40 MiB when unpacked\)"):
        open_source(path)


def test_a_workbook_of_gigabytes_is_refused_by_its_directory_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_workbook(tmp_path / "house.xlsx", {"events": [{"ref": "a"}]})
    monkeypatch.setattr(guard, "MOST_UNPACKED", 1_000)
    monkeypatch.setattr(zipfile.ZipFile, "open", lambda *_, **__: pytest.fail("it was unpacked"))
    with pytest.raises(NotReadable, match="more than is taken"):
        open_source(path)


def test_a_workbook_that_declares_a_document_type_is_refused(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "house.xlsx", {"events": [{"ref": "a"}]})
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(
            "xl/worksheets/sheet9.xml", '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY y "z">]><x/>'
        )
    with pytest.raises(NotReadable, match="declares a document type"):
        open_source(path)


def test_a_damaged_workbook_is_told_to_be_damaged(tmp_path: Path) -> None:
    whole = write_workbook(tmp_path / "house.xlsx", {"events": [{"ref": f"a{n}"} for n in range(3_000)]})
    data = bytearray(whole.read_bytes())
    start = data.find(b"xl/worksheets/sheet1.xml") + 200
    data[start : start + 400] = b"\xff" * 400
    whole.write_bytes(data)
    with pytest.raises(NotReadable, match=r"damaged|cannot be read|can be read"):
        open_source(whole)


def test_a_folder_without_csv_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("nothing")
    with pytest.raises(NotReadable, match=r"no \.csv file in this folder"):
        open_source(tmp_path)


# Cells of a workbook


def test_a_formula_counts_as_the_result_that_the_file_keeps(tmp_path: Path) -> None:
    path = tmp_path / "house.xlsx"
    rows = [{"ref": "a", "males": "=1+2"}, {"ref": "b", "males": '=""'}, {"ref": "c", "males": "=1/0"}]
    write_workbook(path, {"events": rows})
    # openpyxl writes no results; these are as spreadsheet programs keep them.
    _change_part(path, b'<c r="B2"><f>1+2</f><v />', b'<c r="B2"><f>1+2</f><v>3</v>')
    _change_part(path, b'<c r="B3"><f>""</f><v />', b'<c r="B3" t="str"><f>""</f><v></v>')
    _change_part(path, b'<c r="B4"><f>1/0</f><v />', b'<c r="B4" t="e"><f>1/0</f><v>#DIV/0!</v>')
    with open_source(path) as source:
        values = [row[1] for row in cells(source, "events")[1:]]
    assert values == [3, None, "#DIV/0!"]
    with pytest.raises(ValueError, match="the error #DIV/0!"):
        whole_number(values[2])


def test_a_formula_without_a_result_names_its_cell(tmp_path: Path) -> None:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet.title = "events"
    sheet.append(["ref", "males", "note"])
    sheet.append(["a", "=1+2", None])
    workbook.save(tmp_path / "house.xlsx")
    with open_source(tmp_path / "house.xlsx") as source:
        value = cells(source, "events")[1][1]
    assert isinstance(value, Unreadable)
    with pytest.raises(ValueError, match="the formula in cell B2 was saved without its result"):
        whole_number(value)


def test_dates_of_a_workbook_come_as_dates(tmp_path: Path) -> None:
    day, minute = date(2026, 10, 3), datetime(2026, 10, 3, 9, 30)  # noqa: DTZ001
    path = write_workbook(tmp_path / "house.xlsx", {"events": [{"ref": day, "kind": minute}]})
    with open_source(path) as source:
        assert cells(source, "events")[1] == (datetime(2026, 10, 3), minute)  # noqa: DTZ001


def test_a_sheet_that_states_a_wrong_size_is_read_whole(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "house.xlsx", {"events": [{"ref": "a", "kind": "died"}]})
    _change_part(path, b"<sheetData>", b'<dimension ref="A1"/><sheetData>')
    with open_source(path) as source:
        assert cells(source, "events") == [("ref", "kind"), ("a", "died")]


# Csv files


def test_utf_8_is_read_with_and_without_a_byte_order_mark(tmp_path: Path) -> None:
    for mark in (b"", b"\xef\xbb\xbf"):
        folder = csv_of(tmp_path, "events", mark + "ref,note\r\nå,two\r\n".encode())
        with open_source(folder) as source:
            assert cells(source, "events") == [("ref", "note"), ("å", "two")]


@pytest.mark.parametrize(
    ("content", "where", "told"),
    [
        (b"ref,note\na,b\nc,\xe5l\n", "line 3", "the byte 0xe5 after 'c,' is not UTF-8"),
        ("ref,note\n".encode("utf-16"), "line 1", "saved as UTF-16"),
        (b'ref,note\na,b\nc,"open\nd,e\n', "row 3, line 4", "quotation mark is opened and not closed"),
    ],
)
def test_a_csv_file_that_cannot_be_read_on_names_the_line(
    tmp_path: Path, content: bytes, where: str, told: str
) -> None:
    folder = csv_of(tmp_path, "events", content)
    with open_source(folder) as source, pytest.raises(SheetBroken) as broken:
        cells(source, "events")
    assert broken.value.where == where
    assert told in broken.value.message


def test_semicolons_and_tabs_are_taken_where_the_heading_has_them(tmp_path: Path) -> None:
    for between in (";", "\t"):
        folder = csv_of(tmp_path, "events", f"ref{between}note\na{between}1,5 m\n")
        with open_source(folder) as source:
            assert cells(source, "events")[1] == ("a", "1,5 m")


def test_hidden_files_and_other_formats_in_the_folder_are_left_alone(tmp_path: Path) -> None:
    csv_of(tmp_path, "events", "ref\na\n")
    (tmp_path / ".events.csv").write_text("x")
    (tmp_path / "README.txt").write_text("x")
    with open_source(tmp_path) as source:
        assert source.sheets() == ["events"]


# A text that begins with = is a formula to openpyxl's writer.
TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"])).filter(lambda text: text[:1] != "=")


@given(st.lists(st.lists(TEXT, min_size=2, max_size=2)))
def test_a_workbook_and_csv_files_hold_the_same_rows(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]]
) -> None:
    folder = tmp_path_factory.mktemp("load")
    sheets = {"events": [{"ref": "first", "note": "x"}, *({"ref": ref, "note": note} for ref, note in rows)]}
    read = []
    for path in (write_folder(folder / "csv", sheets), write_workbook(folder / "house.xlsx", sheets)):
        with open_source(path) as source:
            read.append(
                [
                    (row.number, [(cell or "") for cell in (*row.cells, None)[:2]])
                    for row in source.rows("events")
                ]
            )
    assert read[0] == read[1]


# Headings


def test_headings_are_matched_whatever_their_case_and_order(tmp_path: Path) -> None:
    folder = csv_of(tmp_path, "lots", " KIND ,Accession, name\ngroup,G1,Carcinus maenas\n")
    assert table_of(folder, LOTS) == [(2, ["G1", "Carcinus maenas", "group", None, None, None, None])]


@pytest.mark.parametrize(
    ("content", "row", "column", "told"),
    [
        (
            "code,name,kind,volume\n",
            1,
            "volume",
            "unknown column 'volume' (did you mean 'volume_m3'?); expected code,",
        ),
        ("code,name\n", 1, "kind", "the column 'kind' is missing"),
        ("code,name,kind,Code\n", 1, "code", "this heading stands twice"),
        ("code,name,kind\nT1,Tank,tank,stray\n", 2, "D", "column D has no heading but holds a value here"),
        ("code,,name,kind\nT1,x,Tank,tank\n", 2, "B", "column B has no heading"),
        ("", 0, "", "it is empty; expected the headings code, name"),
    ],
)
def test_a_heading_that_does_not_fit_is_told_by_name(
    tmp_path: Path, content: str, row: int, column: str, told: str
) -> None:
    (problem,) = table_of(csv_of(tmp_path, "places", content), PLACES)
    assert isinstance(problem, Problem)
    assert (problem.draft, problem.column) == (row, column)
    assert told in problem.message


def test_every_heading_that_does_not_fit_is_told(tmp_path: Path) -> None:
    problems = table_of(csv_of(tmp_path, "events", "ref,knd,wet\n"), EVENTS)
    assert [problem.column for problem in problems if isinstance(problem, Problem)] == [
        *("knd", "wet", "kind", "happened"),
    ]


def test_empty_rows_are_passed_over_and_rows_keep_their_numbers(tmp_path: Path) -> None:
    folder = csv_of(tmp_path, "places", "code,name,kind\n,,\n\nT1,Tank,tank\n , ,\n")
    assert [row[0] for row in table_of(folder, PLACES) if isinstance(row, tuple)] == [4]
