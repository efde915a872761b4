"""Rows as files: a text that somebody typed is never run by the spreadsheet that opens it."""

import csv
import json
from io import StringIO
from typing import Any

import pytest

from inventory.doors.output import write_rows


def written(value: Any, form: str) -> str:
    out = StringIO()
    write_rows([{"name": value}], ("name",), form, out)
    return out.getvalue()


@pytest.mark.parametrize("text", ['=HYPERLINK("x")', "+1+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1"])
def test_a_text_that_begins_as_a_formula_stays_text_in_csv(text: str) -> None:
    """The characters are those of OWASP's page "CSV Injection"."""
    assert list(csv.reader(StringIO(written(text, "csv"))))[1] == [f"'{text}"]
    assert json.loads(written(text, "json")) == [{"name": text}]


@pytest.mark.parametrize("value", [-2, "-2", "+3", "-1.0.2", "Gobius niger", "E01-2", ""])
def test_numbers_and_names_stand_in_csv_as_they_are(value: Any) -> None:
    assert list(csv.reader(StringIO(written(value, "csv"))))[1:] in ([[str(value)]], [])
