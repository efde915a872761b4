"""Writes the files that the tests of ``load`` read: the same rows as csv files or as a workbook."""

import csv
import json
from collections.abc import Mapping, Sequence
from io import StringIO
from pathlib import Path
from typing import Any

import openpyxl
from django.core.management import call_command

EXAMPLE = Path(__file__).resolve().parents[2] / "fixtures" / "load" / "example"

Rows = Sequence[Mapping[str, Any]]

# A tiny invented house: one group and one individual, each where the example has them.
HOUSE: dict[str, Rows] = {
    "places": [
        {"code": "T1", "name": "Tank 1", "kind": "tank"},
        {"code": "Q1", "name": "Quarantine 1", "kind": "quarantine"},
        {"code": "LENT", "name": "Another house", "kind": "off_site"},
    ],
    "lots": [
        {"accession": "G1", "name": "Carcinus maenas", "kind": "group"},
        {"accession": "I1", "name": "Labrus bergylta", "kind": "individual"},
    ],
}


def event(ref: str, kind: str, happened: object = "2026-01-02", **said: object) -> dict[str, Any]:
    """One row of the sheet events."""
    return {"ref": ref, "kind": kind, "happened": happened, **said}


def write_folder(folder: Path, sheets: Mapping[str, Rows]) -> Path:
    """Writes one csv file for each sheet; the columns are those of any of its rows."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in sheets.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(_columns(rows)))
            writer.writeheader()
            writer.writerows(rows)
    return folder


def write_workbook(path: Path, sheets: Mapping[str, Rows]) -> Path:
    """Writes a workbook with one sheet for each."""
    workbook = openpyxl.Workbook(write_only=True)
    for name, rows in sheets.items():
        sheet = workbook.create_sheet(name)
        columns = list(_columns(rows))
        sheet.append(columns)
        for row in rows:
            sheet.append([row.get(column) for column in columns])
    workbook.save(path)
    return path


def read_folder(folder: Path) -> dict[str, list[dict[str, str]]]:
    """The rows of a folder of csv files."""
    sheets = {}
    for path in sorted(folder.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            sheets[path.stem] = list(csv.DictReader(file))
    return sheets


def run_load(path: Path, *options: str) -> tuple[int, str, str]:
    """Runs the command; returns its exit code, what it wrote to stdout, and to stderr."""
    out, err = StringIO(), StringIO()
    try:
        call_command("load", str(path), *options, stdout=out, stderr=err)
    except SystemExit as stopped:
        return int(str(stopped.code)), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def summary_of(path: Path, *options: str) -> dict[str, dict[str, int]]:
    """Loads and returns the summary by sheet; what is wrong fails the test."""
    code, out, err = run_load(path, "--format", "json", *options)
    assert code == 0, err
    return {row.pop("sheet"): row for row in json.loads(out)}


def _columns(rows: Rows) -> dict[str, None]:
    return dict.fromkeys(column for row in rows for column in row)
