"""Any table of strings comes back from an archive as it went in, whatever it holds and how it is written."""

import tempfile
from collections.abc import Sequence
from pathlib import Path
from unittest.mock import patch

from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.names.readers import tables
from inventory.names.readers.archive import open_archive

from .archives import GBIF_COLUMNS, csv_lines, meta_xml, tab_lines, table_xml, write

# Blanks at the edge of a value are cut off; a NUL byte and a half of a surrogate pair are no text.
letters = st.characters(exclude_categories=["Cs"], exclude_characters="\0")
plain = st.text(letters.filter(lambda letter: letter not in "\t\n\r"), max_size=12)
anything = st.text(letters, max_size=12)


@st.composite
def a_table(draw: st.DrawFn, values: st.SearchStrategy[str]) -> tuple[list[str], list[list[str]]]:
    """Columns in any order, the identifier among them; rows with an identifier each."""
    columns = draw(st.lists(st.sampled_from(GBIF_COLUMNS[1:]), unique=True, min_size=1, max_size=6))
    place = draw(st.integers(0, len(columns)))
    columns.insert(place, "taxonID")
    rows = draw(st.lists(st.lists(values, min_size=len(columns), max_size=len(columns)), max_size=8))
    for number, row in enumerate(rows):
        row[place] = f"id{number}"
    return columns, rows


def read_back(folder: Path, terms: Sequence[str], block: int) -> list[tuple[str, ...]]:
    with patch.object(tables, "BLOCK", block):
        archive = open_archive(folder)
        return [values for _, values in archive.rows_of(archive.core, terms)]


def as_read(rows: Sequence[Sequence[str]], order: Sequence[int]) -> list[tuple[str, ...]]:
    return [tuple(row[index].strip(" \u00a0") for index in order) for row in rows]


@given(
    table=a_table(plain),
    header=st.booleans(),
    promised=st.booleans(),
    ending=st.sampled_from(["\n", "\r\n"]),
    block=st.integers(1, 40),
    data=st.data(),
)
@settings(max_examples=150)
def test_a_tab_table_is_read_back_in_any_order_of_columns(
    table: tuple[list[str], list[list[str]]],
    header: bool,
    promised: bool,
    ending: str,
    block: int,
    data: st.DataObject,
) -> None:
    columns, rows = table
    order = data.draw(st.permutations(range(len(columns))))
    # The identifier has a digit, so that a header line that is promised and missing is found out.
    text = tab_lines(*([columns] if header else []), *rows).replace("\n", ending)
    core = table_xml("t.tsv", columns, header=int(promised), identifier=columns.index("taxonID"))
    with tempfile.TemporaryDirectory() as scratch:
        folder = write(Path(scratch), meta=meta_xml(core), t_tsv=text)
        found = read_back(folder, [columns[index] for index in order], block)
    assert found == as_read(rows, order)


@given(
    table=a_table(anything),
    header=st.booleans(),
    separator=st.sampled_from([",", ";", "\t"]),
    block=st.integers(1, 40),
    data=st.data(),
)
@settings(max_examples=150)
def test_a_table_with_quotes_is_read_back_whatever_its_values_hold(
    table: tuple[list[str], list[list[str]]], header: bool, separator: str, block: int, data: st.DataObject
) -> None:
    columns, rows = table
    order = data.draw(st.permutations(range(len(columns))))
    text = csv_lines([*([columns] if header else []), *rows], separator)
    core = table_xml(
        "t.csv",
        columns,
        separator=separator.replace("\t", "\\t"),
        quote='"',
        header=int(header),
        identifier=columns.index("taxonID"),
    )
    with tempfile.TemporaryDirectory() as scratch:
        folder = write(Path(scratch), meta=meta_xml(core), t_csv=text)
        found = read_back(folder, [columns[index] for index in order], block)
    assert found == as_read(rows, order)


@given(table=a_table(plain), block=st.integers(1, 40))
@settings(max_examples=60)
def test_a_table_by_itself_is_read_back_by_its_headings(
    table: tuple[list[str], list[list[str]]], block: int
) -> None:
    columns, rows = table
    if "scientificName" not in columns:
        columns, rows = [*columns, "scientificName"], [[*row, "Gadus morhua"] for row in rows]
    with tempfile.TemporaryDirectory() as scratch:
        write(Path(scratch), Taxon_tsv=tab_lines(columns, *rows))
        found = read_back(Path(scratch) / "Taxon.tsv", columns, block)
    assert found == as_read(rows, range(len(columns)))
