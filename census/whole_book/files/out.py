"""The whole book on its way out: into a folder, or into one zip that is sent while it is written."""

import csv
import os
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from datetime import datetime
from io import StringIO
from pathlib import Path
from tempfile import mkstemp
from typing import IO, Any, BinaryIO, cast

from inventory.book.queries.heads import head_of_chain
from inventory.db.moment import one_moment
from inventory.doors.output import plain_cell
from inventory.people.queries.signed_in import the_house

from ..queries.dictionary import HEADINGS, dictionary
from ..queries.rows import Row, batches
from ..queries.tables import tables_out
from ..rules.secrets import TABLES
from ..rules.shapes import Form, Table
from .columnar import write_parquet
from .comma import write_csv
from .hashed import Hashed
from .manifest import DICTIONARY, NAME, Manifest, Wrote
from .workbook import ROWS_OF_A_SHEET, Book

WORKBOOK = "whole_book.xlsx"

Open = Callable[[str], AbstractContextManager[IO[bytes]]]
_Write = Callable[[Table, Iterable[list[Row]], Hashed], Iterator[int]]
_WRITERS: dict[Form, _Write] = {Form.CSV: write_csv, Form.PARQUET: write_parquet}


def write_folder(folder: Path, form: Form, *, now: datetime, positions: bool = True) -> Manifest:
    """Writes every table, the dictionary and the manifest into ``folder``; it is made, or must be empty."""
    folder.mkdir(parents=True, exist_ok=True)
    if any(folder.iterdir()):
        raise FileExistsError(f"{folder} is not empty; name a new folder")
    with one_moment():
        manifest = _manifest(form, now)
        if form is Form.XLSX:
            with (folder / WORKBOOK).open("wb") as out:
                hashed = Hashed(out)
                write_workbook(folder / f".{WORKBOOK}", manifest, positions=positions)
                with (folder / f".{WORKBOOK}").open("rb") as made:
                    while piece := made.read(1 << 20):
                        hashed.write(piece)
            (folder / f".{WORKBOOK}").unlink()
            manifest.others[WORKBOOK] = hashed.sha256
        else:
            for _ in _tables(lambda name: (folder / name).open("wb"), manifest, positions=positions):
                pass
    manifest.others[DICTIONARY] = _put(folder, DICTIONARY, dictionary_csv())
    (folder / NAME).write_bytes(manifest.as_json())
    return manifest


def _put(folder: Path, name: str, content: bytes) -> str:
    with (folder / name).open("wb") as out:
        hashed = Hashed(out)
        hashed.write(content)
    return hashed.sha256


def stream_zip(form: Form, *, now: datetime, positions: bool) -> Iterator[bytes]:
    """The same as one zip, in pieces, while it is read: nothing is kept but the piece that is on its way."""
    pieces = _Pieces()
    with zipfile.ZipFile(cast(IO[bytes], pieces), "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        with one_moment():
            manifest = _manifest(form, now)

            def opened(name: str) -> AbstractContextManager[IO[bytes]]:
                return archive.open(name, "w", force_zip64=True)

            for _ in _tables(opened, manifest, positions=positions):
                yield pieces.taken()
        content = dictionary_csv()
        with archive.open(DICTIONARY, "w") as out:
            hashed = Hashed(out)
            hashed.write(content)
        manifest.others[DICTIONARY] = hashed.sha256
        archive.writestr(NAME, manifest.as_json())
    yield pieces.taken()


class _Pieces:
    """What a zip is written on when nobody can go back in it."""

    def __init__(self) -> None:
        self._held: list[bytes] = []

    def write(self, data: bytes) -> int:
        self._held.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Nothing waits here."""

    def taken(self) -> bytes:
        held, self._held = b"".join(self._held), []
        return held


def write_workbook(
    out: Path, manifest: Manifest, *, positions: bool, rows_of_a_sheet: int = ROWS_OF_A_SHEET
) -> None:
    """Writes the workbook; the manifest and the dictionary are its last two sheets."""
    book = Book(out, rows_of_a_sheet=rows_of_a_sheet)
    try:
        for model, table in tables_out(positions=positions):
            rows = sum(book.write(table, batches(model, table)))
            cut = book.cut.get(table.name, 0)
            manifest.tables.append(Wrote(table.name, rows, left_out=table.left_out, cut=cut))
        facts: list[tuple[Any, ...]] = [
            *manifest.facts(),
            *((one.table, one.rows) for one in manifest.tables),
        ]
        facts += [(f"{name}, left out", why) for name, why in manifest.not_out]
        facts += [
            (f"{one.table}.{name}, left out", why) for one in manifest.tables for name, why in one.left_out
        ]
        facts += [
            (f"{one.table}, texts cut to a cell's length", one.cut) for one in manifest.tables if one.cut
        ]
        book.write_plain("manifest", ["what", "value"], facts)
        book.write_plain("dictionary", list(HEADINGS), dictionary())
    finally:
        book.close()


def workbook_file(*, now: datetime, positions: bool) -> BinaryIO:
    """The workbook as an open file that is gone when it is closed."""
    handle, name = mkstemp(suffix=".xlsx")
    os.close(handle)
    path = Path(name)
    try:
        with one_moment():
            write_workbook(path, workbook_manifest(now), positions=positions)
        # Gone from the folder at once, and from the disk when it is closed.
        return path.open("rb")
    finally:
        path.unlink()


def workbook_manifest(now: datetime) -> Manifest:
    """An empty manifest of a workbook, read at this moment of the book."""
    return _manifest(Form.XLSX, now)


def _manifest(form: Form, now: datetime) -> Manifest:
    house = the_house()
    not_out = tuple(sorted(TABLES.items()))
    return Manifest(form, now, head_of_chain(), house.name if house else "", not_out=not_out)


def _tables(opened: Open, manifest: Manifest, *, positions: bool) -> Iterator[int]:
    """Writes a file for each table; yields now and then, so that what is written can go."""
    write, ending = _WRITERS[manifest.form], manifest.form.value
    for model, table in tables_out(positions=positions):
        rows = 0
        name = f"{table.name}.{ending}"
        with opened(name) as out:
            hashed = Hashed(out)
            for n in write(table, batches(model, table), hashed):
                rows += n
                yield rows
        manifest.tables.append(Wrote(table.name, rows, name, hashed.sha256, hashed.size, table.left_out))
        yield rows


def dictionary_csv() -> bytes:
    """The dictionary as it stands beside the files."""
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEADINGS)
    writer.writerows([plain_cell(value) for value in row] for row in dictionary())
    return text.getvalue().encode()
