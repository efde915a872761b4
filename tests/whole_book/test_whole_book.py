"""The whole book out and in again, read by libraries that share no code with the writers."""

import csv
import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from threading import Thread
from typing import Any

import openpyxl
import pandas as pd
import pyarrow.parquet as pq
import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from census.whole_book.files.out import stream_zip, workbook_manifest, write_folder, write_workbook
from census.whole_book.queries.tables import tables_out
from census.whole_book.rules.shapes import Form
from inventory.book.models import Flow
from inventory.book.queries.heads import head_of_chain
from inventory.book.queries.quantities import Scope, StockBy, stock
from tests.factories import NOW, make_event, make_house, make_lot, make_person, make_place, make_reversal

pytestmark = pytest.mark.django_db

HOSTILE = '=HYPERLINK("http://example.org")'


@pytest.fixture
def book() -> None:
    """Some lots, moved, dead, taken back, sexed and lent, and a text that a spreadsheet would run."""
    make_house()
    one, two = make_place("E01"), make_place("E02")
    off = make_place("X01", kind="off_site")
    lot = make_lot("A-1", house_name=HOSTILE, marks="-2+3")
    make_event(
        "received", lot=lot, place=one, males=4, females=7, happened="2026-08-01", party="+cmd|' /C calc'!A0"
    )
    make_event("moved", lot=lot, place=one, to_place=two, females=3)
    make_event("died", lot=lot, place=one, males=1)
    make_reversal(make_event("died", lot=lot, place=two, females=2, note="@SUM(A1)"))
    make_event("missing", lot=lot, place=one, males=1)
    lent = make_lot("A-2")
    make_event("born", lot=lent, place=two, unknown=5)
    make_event("loan_out", lot=lent, place=two, to_place=off, unknown=2)


def _stock() -> dict[tuple[str, str], int]:
    rows = stock(by=StockBy.LOT, before=datetime.max.replace(tzinfo=NOW.tzinfo), scope=Scope.ALL)
    return {(row.label, row.unit): row.held.total for row in rows}


def _from_flows(read: Any) -> dict[tuple[str, str], int]:
    """The stock by lot, out of the flows alone. ``read`` gives a table as a data frame."""
    flows, cells, lots = read("book_flow"), read("book_cell"), read("book_lot")
    inside = cells[cells["inside"].astype(bool)].set_index("id")["lot_id"]
    came = flows[flows["to_cell_id"].isin(inside.index)]
    went = flows[flows["from_cell_id"].isin(inside.index)]
    n = (
        came.groupby(came["to_cell_id"].map(inside))["n"]
        .sum()
        .sub(went.groupby(went["from_cell_id"].map(inside))["n"].sum(), fill_value=0)
    )
    named = lots.set_index("id")
    return {(named.at[lot, "accession"], named.at[lot, "unit"]): int(v) for lot, v in n.items() if v}


def test_the_stock_recomputed_from_the_flows_as_csv_is_the_stock_of_the_book(
    book: None, tmp_path: Path
) -> None:
    write_folder(tmp_path / "out", Form.CSV, now=NOW)

    assert _from_flows(lambda name: pd.read_csv(tmp_path / "out" / f"{name}.csv")) == _stock()


def test_the_stock_recomputed_from_parquet_is_the_stock_and_columns_have_types(
    book: None, tmp_path: Path
) -> None:
    write_folder(tmp_path / "out", Form.PARQUET, now=NOW)

    def read(name: str) -> Any:
        return pq.read_table(tmp_path / "out" / f"{name}.parquet").to_pandas()

    assert _from_flows(read) == _stock()
    types = {field.name: str(field.type) for field in pq.read_schema(tmp_path / "out" / "book_event.parquet")}
    assert types["id"] == "int64"
    assert types["effective_at"] == "timestamp[us, tz=UTC]"
    assert types["happened"] == "string"
    place = {field.name: str(field.type) for field in pq.read_schema(tmp_path / "out" / "book_place.parquet")}
    assert place["volume_m3"] == "decimal128(10, 3)"
    assert place["opened_on"] == "date32[day]"
    assert {f.name: str(f.type) for f in pq.read_schema(tmp_path / "out" / "book_cell.parquet")}[
        "inside"
    ] == "bool"


def test_the_stock_recomputed_from_the_workbook_is_the_stock(book: None, tmp_path: Path) -> None:
    write_folder(tmp_path / "out", Form.XLSX, now=NOW)
    workbook = openpyxl.load_workbook(tmp_path / "out" / "whole_book.xlsx")

    def read(name: str) -> pd.DataFrame:
        head, *rows = workbook[name].values
        return pd.DataFrame(rows, columns=list(head))

    assert _from_flows(read) == _stock()
    told: dict[Any, Any] = {row[0]: row[1] for row in workbook["manifest"].values}
    assert told["head of the chain"] == head_of_chain()


def test_no_text_is_a_formula_in_csv_or_workbook(book: None, tmp_path: Path) -> None:
    write_folder(tmp_path / "csv", Form.CSV, now=NOW)
    write_folder(tmp_path / "xlsx", Form.XLSX, now=NOW)

    for path in (tmp_path / "csv").glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as file:
            for row in csv.reader(file):
                assert not [cell for cell in row if re.match(r"[=@\t\r]|[+-](?![\d.,]*$)", cell)], path.name
    lots = pd.read_csv(tmp_path / "csv" / "book_lot.csv")
    assert lots.set_index("accession").at["A-1", "house_name"] == f"'{HOSTILE}"
    workbook = openpyxl.load_workbook(tmp_path / "xlsx" / "whole_book.xlsx")
    assert not [c for sheet in workbook for row in sheet.iter_rows() for c in row if c.data_type == "f"]
    assert HOSTILE in {cell.value for cell in workbook["book_lot"]["G"] + workbook["book_lot"]["F"]}


@pytest.mark.parametrize("form", [Form.CSV, Form.PARQUET])
def test_the_manifest_counts_the_rows_and_its_hashes_are_those_of_the_files(
    book: None, tmp_path: Path, form: Form
) -> None:
    write_folder(tmp_path / "out", form, now=NOW)

    told = json.loads((tmp_path / "out" / "manifest.json").read_text())

    assert told["head_of_chain"] == head_of_chain()
    assert datetime.fromisoformat(told["as_known_at"]) == NOW
    files = {one["file"]: one["sha256"] for one in told["tables"]} | told["other_files"]
    on_disk = {path.name for path in (tmp_path / "out").iterdir()} - {"manifest.json"}
    assert set(files) == on_disk
    for name, sha256 in files.items():
        assert hashlib.sha256((tmp_path / "out" / name).read_bytes()).hexdigest() == sha256
    rows = {one["table"]: one["rows"] for one in told["tables"]}
    for model, table in tables_out(positions=True):
        assert rows[table.name] == model._base_manager.count(), table.name
    assert told["rows"] == sum(rows.values()) > 0


def test_the_zip_that_is_streamed_holds_the_same_bytes_as_the_folder(book: None, tmp_path: Path) -> None:
    write_folder(tmp_path / "out", Form.CSV, now=NOW)

    archive = zipfile.ZipFile(io.BytesIO(b"".join(stream_zip(Form.CSV, now=NOW, positions=True))))

    assert archive.testzip() is None
    assert {name: archive.read(name) for name in archive.namelist()} == {
        path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()
    }


def test_a_table_longer_than_a_sheet_goes_on_in_the_next(book: None, tmp_path: Path) -> None:
    write_workbook(tmp_path / "b.xlsx", workbook_manifest(NOW), positions=True, rows_of_a_sheet=4)

    workbook = openpyxl.load_workbook(tmp_path / "b.xlsx")
    sheets = [name for name in workbook.sheetnames if name.startswith("book_flow")]
    rows = [row for name in sheets for row in list(workbook[name].values)[1:]]

    assert len(sheets) > 1
    assert all(next(workbook[name].values)[0] == "id" for name in sheets)
    assert len(rows) == len({row[0] for row in rows}) == Flow.objects.count()


def test_nothing_that_opens_a_door_goes_out(book: None, tmp_path: Path) -> None:
    make_person(roles=["registrar"], password="correct horse battery staple")

    write_folder(tmp_path / "out", Form.CSV, now=NOW)

    names = {path.stem for path in (tmp_path / "out").iterdir()}
    assert not names & {"auth_user", "people_personcode", "people_enrolmentcode", "django_session"}
    for path in (tmp_path / "out").glob("*.csv"):
        if path.stem != "dictionary":
            text = path.read_text()
            assert not re.search(r"password|token|secret|code_hash", text.partition("\n")[0]), path.name
            assert "argon2" not in text


def test_positions_stay_with_who_keeps_the_permits() -> None:
    columns = {
        positions: {
            f"{table.name}.{column.name}"
            for _, table in tables_out(positions=positions)
            for column in table.columns
        }
        for positions in (True, False)
    }

    assert columns[True] - columns[False] >= {"permits_trip.latitude", "permits_trip.longitude"}
    assert columns[False] < columns[True]


def test_the_command_writes_a_folder_and_refuses_one_that_is_not_empty(
    book: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("whole_book", format="csv", to=tmp_path / "out")

    assert capsys.readouterr().out.strip() == str(tmp_path / "out")
    assert (tmp_path / "out" / "book_flow.csv").exists()
    with pytest.raises(CommandError, match="not empty"):
        call_command("whole_book", format="csv", to=tmp_path / "out")


@pytest.mark.django_db(transaction=True)
def test_what_is_entered_while_the_book_goes_out_is_not_in_it() -> None:
    make_house()
    make_event("born", unknown=5)
    before = head_of_chain()

    pieces: Iterator[bytes] = stream_zip(Form.CSV, now=NOW, positions=True)
    got = [next(pieces)]
    writer = Thread(target=_enter_one)
    writer.start()
    writer.join(timeout=60)
    assert not writer.is_alive()
    got += pieces

    archive = zipfile.ZipFile(io.BytesIO(b"".join(got)))
    assert json.loads(archive.read("manifest.json"))["head_of_chain"] == before
    assert archive.read("book_event.csv").decode().count("\n") == 2
    assert head_of_chain() != before


def _enter_one() -> None:
    try:
        make_event("born", unknown=1)
    finally:
        connection.close()
