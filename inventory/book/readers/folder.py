"""A folder of csv files, one for each sheet: RFC 4180, UTF-8 with or without a byte order mark."""

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from ..rules.as_typed import is_empty
from .source import NotReadable, Row, SheetBroken, Source

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")


class Folder(Source):
    """The .csv files of a folder. Other files there, hidden ones and folders are left alone."""

    def __init__(self, path: Path) -> None:
        self.name = path.name
        self._files: dict[str, Path] = {}
        for file in sorted(path.iterdir()):
            if file.suffix.lower() != ".csv" or file.name.startswith(".") or not file.is_file():
                continue
            self._files[file.stem] = file
        if not self._files:
            raise NotReadable(
                "no .csv file in this folder; expected places.csv, taxa.csv, lots.csv, events.csv"
            )

    def sheets(self) -> list[str]:
        return list(self._files)

    def rows(self, sheet: str) -> Iterator[Row]:
        with self._files[sheet].open("rb") as file:
            reader = csv.reader(_lines(file), delimiter=_delimiter(file), strict=True)
            number = 0
            try:
                for number, cells in enumerate(reader, start=1):
                    if not all(is_empty(cell) for cell in cells):
                        yield Row(number, tuple(cells))
            except csv.Error as error:
                raise SheetBroken(
                    f"row {number + 1}, line {reader.line_num}",
                    f"not well-formed csv ({error}); a quotation mark is opened and not closed, or stands "
                    "inside a cell without being doubled",
                ) from None


def _delimiter(file: BinaryIO) -> str:
    """The sign between cells: a comma, or what the heading has instead (semicolon, tab).

    Headings hold none of the three, so the first line decides. The file is left at its start.
    """
    heading = file.readline()
    file.seek(0)
    if b"," in heading:
        return ","
    return ";" if b";" in heading else "\t" if b"\t" in heading else ","


def _lines(file: BinaryIO) -> Iterator[str]:
    """Lines as text, each decoded alone, so that a wrong byte is told with its line."""
    for number, line in enumerate(file, start=1):
        if number == 1 and line.startswith(_UTF_16):
            raise SheetBroken("line 1", "saved as UTF-16; save it as csv in UTF-8")
        try:
            yield line.removeprefix(_BYTE_ORDER_MARK if number == 1 else b"").decode("utf-8")
        except UnicodeDecodeError as error:
            before = line[: error.start].decode("utf-8", "replace")[-20:]
            raise SheetBroken(
                f"line {number}",
                f"the byte 0x{line[error.start]:02x} after {before!r} is not UTF-8; save it as csv in UTF-8",
            ) from None
