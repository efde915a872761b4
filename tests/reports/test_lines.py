"""The lines of a report in order, without a list of them."""

from hypothesis import given
from hypothesis import strategies as st

from census.reports.rules.document import Block, Column, Document, Figure, Kind, Line, Part, Table
from census.reports.rules.lines import Lines
from census.reports.rules.shown import said_of

# Parts of blocks of tables, each told by its number of lines.
SHAPES = st.lists(st.lists(st.lists(st.integers(0, 4), max_size=3), max_size=3), max_size=3)


def _document(shape: list[list[list[int]]]) -> Document:
    numbers = iter(range(1, 1000))
    parts = [
        Part(
            str(p),
            "",
            "",
            [],
            [
                Block("", [], [Table("animal", [_line(next(numbers)) for _ in range(n)], {}) for n in tables])
                for tables in blocks
            ],
        )
        for p, blocks in enumerate(shape)
    ]
    return Document("taxa", "", [], parts, [])


def _line(number: int) -> Line:
    return Line(number, None, "", dict)


@given(shape=SHAPES, first=st.integers(0, 40), size=st.integers(1, 20))
def test_every_page_is_a_slice_of_the_plain_list_of_all_lines(
    shape: list[list[list[int]]], first: int, size: int
) -> None:
    document = _document(shape)
    plain = [
        (p, b, t, line)
        for p, part in enumerate(document.parts)
        for b, block in enumerate(part.blocks)
        for t, table in enumerate(block.tables)
        for line in table.lines
    ]
    lines = Lines(document)
    assert len(lines) == len(plain) == document.lines
    assert list(lines) == plain
    assert list(lines[first : first + size]) == plain[first : first + size]
    assert [lines[i] for i in range(-len(plain), len(plain))] == [*plain, *plain]


def test_a_share_is_said_whole_with_a_true_minus_as_every_number_has() -> None:
    percent = Column("percent", "per cent", Kind.PERCENT)
    said = {
        -3.96: "\N{MINUS SIGN}4 %",
        4.4: "+4 %",
        0.3: "under 1 %",
        -0.3: "under 1 %",
        0.0: "",
        1.0: "+1 %",
    }
    assert {value: said_of(percent, Figure(value)) for value in said} == said
    assert said_of(percent, Figure(None)) == ""
