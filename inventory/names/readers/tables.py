"""Reads the lines of one table, fast and in constant memory, and says on which line it is wrong.

The file is read a block at a time. A table without quotes (GBIF, Catalogue of Life) is then split
by methods of ``str`` that work on whole lines; one with quotes is left to the module ``csv``.
"""

import codecs
import csv
import io
from collections.abc import Callable, Iterator, Sequence
from itertools import chain
from operator import itemgetter
from typing import IO

from .files import read
from .headers import lines_above
from .source import ArchiveError, Line, Table

# Small on purpose: the values of one block stay in the processor's cache.
BLOCK = 1 << 15
# No line of a list of names is as long; without a limit one line could fill the memory.
LONGEST_LINE = 4_000_000
# What is cut off around a value: the blank and the blank that does not break.
BLANKS = " \u00a0"

Cells = Sequence[str]
Pick = Callable[[Cells], tuple[str, ...]]
# The number of the first line, and a text of whole lines.
_Block = tuple[int, str]


def read_lines(
    table: Table,
    raw: IO[bytes],
    terms: Sequence[str],
    *,
    remarks: list[str],
    advance: Callable[[int], None],
) -> Iterator[Line]:
    """As :meth:`NameSource.rows_of`; ``advance`` is told the bytes of each block read."""
    blocks = _blocks(table, raw, advance)
    reading = _quoted if table.quote else _unquoted
    return reading(table, blocks, terms, remarks)


def picker(table: Table, terms: Sequence[str]) -> tuple[Pick, list[str]]:
    """A function from the cells of a line to the values asked for, and the cells it wants appended.

    Those hold what stands in no column: a blank, or the value that meta.xml gives for all rows.
    """
    identifier = "id" if "id" in table.columns else "taxonID"
    constants: list[str] = []
    places = []
    for term in terms:
        falls_back = term == "id" or (term == "taxonID" and not table.has(term))
        column = identifier if falls_back else term
        if column in table.columns:
            places.append(table.columns[column])
        else:
            # Counted from the end, since a file may have more columns than meta.xml tells.
            constants.append(table.defaults.get(column, ""))
            places.append(-len(constants))
    constants.reverse()
    return _getter(places), constants


def _getter(places: Sequence[int]) -> Pick:
    if len(places) == 1:
        (place,) = places
        return lambda cells: (cells[place],)
    if not places:
        return lambda _cells: ()
    return itemgetter(*places)


def _unquoted(
    table: Table, blocks: Iterator[_Block], terms: Sequence[str], remarks: list[str]
) -> Iterator[Line]:
    pick, constants = picker(table, terms)
    fill = _filler(table, terms)
    width, above = 0, 0
    for first, block in blocks:
        text = block.replace("\r\n", "\n") if "\r" in block else block
        lines = text.removesuffix("\n").split("\n")
        rows = [line.split(table.separator) for line in lines]
        numbers: Sequence[int] = range(first, first + len(lines))
        if not width:
            width = _width(table, rows[0])
            above = lines_above(rows[0], table, remarks)
        if above >= first:
            numbers, rows = numbers[above - first + 1 :], rows[above - first + 1 :]
        if width == 1 or set(map(len, rows)) != {width}:
            numbers, rows = _whole(table, numbers, rows, width)
        if _untidy(text, table.separator):
            rows = [[cell.strip(BLANKS) for cell in cells] for cells in rows]
        if constants:
            rows = [cells + constants for cells in rows]
        values = map(pick, rows)
        yield from zip(numbers, map(fill, values) if fill else values, strict=True)


def _quoted(
    table: Table, blocks: Iterator[_Block], terms: Sequence[str], remarks: list[str]
) -> Iterator[Line]:
    pick, constants = picker(table, terms)
    fill = _filler(table, terms)
    lines = chain.from_iterable(io.StringIO(text, newline="\n") for _, text in blocks)
    reader = csv.reader(lines, delimiter=table.separator, quotechar=table.quote, strict=True)
    number, width, above = 1, 0, 0
    try:
        for record, cells in enumerate(reader):
            if not width:
                width = _width(table, cells)
                above = lines_above(cells, table, remarks)
            if record >= above and cells:
                if len(cells) != width:
                    raise _wrong_width(table, number, cells, width)
                values = pick([*(cell.strip(BLANKS) for cell in cells), *constants])
                yield number, fill(values) if fill else values
            number = reader.line_num + 1
    except csv.Error as error:
        raise ArchiveError(table.location, f"not a table of fields: {error}", number) from error


def _filler(table: Table, terms: Sequence[str]) -> Callable[[tuple[str, ...]], tuple[str, ...]] | None:
    """Puts the default of meta.xml where a column that has one is blank; None when none has."""
    defaults = tuple(table.defaults.get(term, "") for term in terms)
    if not any(default and term in table.columns for term, default in zip(terms, defaults, strict=True)):
        return None
    return lambda values: tuple(map(lambda value, default: value or default, values, defaults))


def _width(table: Table, cells: Cells) -> int:
    """The number of columns, from the first line. Raises :class:`ArchiveError` when it is too small."""
    needed = max(table.columns.values(), default=0) + 1
    if len(cells) < needed:
        what = f"expected {needed} fields as meta.xml says, found {len(cells)}"
        raise ArchiveError(table.location, what, 1)
    return len(cells)


def _whole(
    table: Table, numbers: Sequence[int], rows: list[list[str]], width: int
) -> tuple[list[int], list[list[str]]]:
    """Without blank lines. Raises :class:`ArchiveError` at the first line that is not as wide."""
    kept = [(number, cells) for number, cells in zip(numbers, rows, strict=True) if cells != [""]]
    for number, cells in kept:
        if len(cells) != width:
            raise _wrong_width(table, number, cells, width)
    return [number for number, _ in kept], [cells for _, cells in kept]


def _wrong_width(table: Table, number: int, cells: Cells, width: int) -> ArchiveError:
    what = f"expected {width} fields as in the first line, found {len(cells)}"
    if len(cells) > width:
        what += ". Does a value hold the sign that parts the fields?"
    return ArchiveError(table.location, what, number)


def _blocks(table: Table, raw: IO[bytes], advance: Callable[[int], None]) -> Iterator[_Block]:
    """The file in blocks of whole lines. Raises :class:`ArchiveError` with the line."""
    # A mark of byte order at the start is no part of the first value.
    encoding = "utf-8-sig" if codecs.lookup(table.encoding).name == "utf-8" else table.encoding
    decoder = codecs.getincrementaldecoder(encoding)()
    line, rest, data = 1, "", b"?"
    while data:
        data = read(raw, BLOCK, table.location, line)
        try:
            text = decoder.decode(data, final=not data)
        except UnicodeDecodeError as error:
            raise _not_decoded(table, error, line) from error
        advance(len(data))
        if "\0" in text:
            what = "a NUL byte, which no table of text has. Is it a table, and in the encoding of meta.xml?"
            raise ArchiveError(table.location, what, line + text.count("\n", 0, text.index("\0")))
        text = rest + text
        # What follows the last line feed is a line only at the end of the file.
        end = text.rfind("\n") + 1 if data else len(text)
        whole, rest = text[:end], text[end:]
        if len(rest) > LONGEST_LINE:
            what = f"longer than {LONGEST_LINE:,} characters; is it a table of lines?"
            raise ArchiveError(table.location, what, line + whole.count("\n"))
        if whole:
            yield line, whole
        line += whole.count("\n")


def _untidy(text: str, separator: str) -> bool:
    """Whether blanks stand at the edge of any value; a few searches spare stripping every value."""
    return any(
        text.startswith(blank)
        or text.endswith(blank)
        or any(f"{blank}{edge}" in text or f"{edge}{blank}" in text for edge in (separator, "\n"))
        for blank in BLANKS
        if blank in text
    )


def _not_decoded(table: Table, error: UnicodeDecodeError, line: int) -> ArchiveError:
    """``line`` is where the block began; the bytes before the fault tell how far on it is."""
    assert isinstance(error.object, bytes)
    before = error.object[: error.start].decode(table.encoding, errors="replace")
    fault = error.object[error.start : error.start + 1].hex()
    what = f"not {table.encoding}, as meta.xml says it is (byte 0x{fault}: {error.reason})"
    return ArchiveError(table.location, what, line + before.count("\n"))
