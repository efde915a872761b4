"""The forms of a report's file."""

import re
from datetime import UTC

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
    """``taxon_Clupea_harengus_2025-01-01_2025-12-31_ours_known_2026-04-10T1200.xlsx``: the same report asked
    otherwise has another name, so that no file lies over another. The moment of knowledge is UTC."""
    newest = document.questions[-1]
    known = newest.known_at
    said = [
        document.layout.replace("-", "_"),
        re.sub(r"\W+", "_", document.subject),
        (document.first_day or document.questions[0].first_day).isoformat(),
        newest.last_day.isoformat(),
        newest.scope.value,
        f"known_{known.astimezone(UTC):%Y-%m-%dT%H%MZ}" if known else "",
    ]
    ending = f"{part or document.parts[0].key}.csv" if form == "csv" else form
    return f"{'_'.join(one for one in said if one)}.{ending}"
