"""The forms of a report's file."""

from .document import Document

MEDIA = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
}
FORM_WORDS = {"xlsx": "workbook (xlsx)", "pdf": "print (PDF)", "csv": "csv"}
# Lines from which a file is made beside the requests: each takes some seconds.
LONG = {"xlsx": 10_000, "pdf": 1_500, "csv": 50_000}


def says_words(form: str) -> bool:
    """On paper days stand in words, in files as ISO 8601."""
    return form == "pdf"


def file_name(document: Document, form: str, part: str = "") -> str:
    """``stock_list_2025-01-01_2025-12-31.xlsx``."""
    first, last = document.questions[0].first_day, document.questions[-1].last_day
    ending = f"{part or document.parts[0].key}.csv" if form == "csv" else form
    return f"{document.layout.replace('-', '_')}_{first}_{last}.{ending}"
