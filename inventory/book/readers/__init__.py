"""Reads what people keep in spreadsheets: a workbook, or a folder of csv files, row by row.

Both look alike from outside: a :class:`~.source.Source` names its sheets and gives their rows, and
:mod:`~.tables` matches a sheet's heading with the columns that are known.
"""

from pathlib import Path

from .folder import Folder
from .source import NotReadable, Row, SheetBroken, Source
from .tables import Table, read_table
from .workbook import Workbook

__all__ = [
    "NotReadable",
    "Row",
    "SheetBroken",
    "Source",
    "Table",
    "open_source",
    "read_table",
]


def open_source(path: Path) -> Source:
    """Opens a workbook (.xlsx) or a folder of .csv files. Raises :class:`NotReadable`."""
    return Folder(path) if path.is_dir() else Workbook(path)
