"""Collection records in any of their forms, as bytes."""

from io import BytesIO, StringIO

from ..queries.collection_records import CollectionRecords
from .archive import write_archive
from .record_tables import write_csv, write_workbook

CSV, XLSX, ARCHIVE = "csv", "xlsx", "dwca"
FORMS = (CSV, XLSX, ARCHIVE)


def export(found: CollectionRecords, form: str) -> bytes:
    """The file's content: the same records in the same form are the same bytes."""
    if form == CSV:
        text = StringIO()
        write_csv(found, text)
        return text.getvalue().encode()
    content = BytesIO()
    if form == XLSX:
        write_workbook(found, content)
    else:
        write_archive(found, content)
    return content.getvalue()
