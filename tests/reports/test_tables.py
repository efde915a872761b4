"""The cells of a page, made apart from the templates."""

from collections.abc import Mapping
from urllib.parse import urlencode

from django.utils.html import format_html
from hypothesis import given
from hypothesis import strategies as st

from census.reports.rules.document import Block, Column, Document, Figure, Kind, Line, Part, Piece, Table
from census.reports.rules.shown import said_of
from census.reports.tables import pages_of, shown

TEXT = st.text(st.sampled_from("aZ0 <>&\"'%+-/?=é…"), max_size=6)
ASKED = st.none() | st.dictionaries(TEXT, TEXT, max_size=3)
FIGURES = st.one_of(
    st.builds(Figure, st.none() | st.integers(-2, 2) | TEXT, ASKED, TEXT),
    st.builds(Figure.of_pieces, st.lists(st.builds(Piece, TEXT, TEXT, TEXT), max_size=2), TEXT),
)
NUMBER, BELOW = Column("n", "Number"), Column("b", "below <it>", under=True)


@given(figure=FIGURES, below=FIGURES, kind=st.sampled_from(Kind))
def test_a_cell_says_and_asks_what_django_would_write(figure: Figure, below: Figure, kind: Kind) -> None:
    column = Column("n", "Number", kind)
    figures = {"n": figure, "b": below}
    # "at most 0" below a 0 says nothing.
    small = (said_of(BELOW, below) if below.value != 0 else "") and format_html(
        "<br><small>{} {}</small>", BELOW.heading, _linked(BELOW, below)
    )
    # No text here is longer than a few letters.
    words = "why" if figure.pieces else "words"
    css = (words if kind is Kind.TEXT else "num") + (" faded" if figure.value == 0 else "")
    expected = format_html('<td class="{}">{}{}</td>', css, _linked(column, figure), small)
    assert _shown([column, BELOW], figures) == expected


def _linked(column: Column, figure: Figure) -> str:
    if figure.pieces:
        links = [format_html('<a href="{}">{}</a>{}', one.at, one.words, one.after) for one in figure.pieces]
        return format_html("{}" + "; {}" * (len(links) - 1), *links)
    text = said_of(column, figure)
    if figure.at and text:
        return format_html('<a href="{}">{}</a>', figure.at, text)
    if figure.asked:
        return format_html('<a href="/change/events?{}">{}</a>', urlencode(figure.asked), text)
    return format_html("{}", text)


def _shown(columns: list[Column], figures: Mapping[str, Figure]) -> str:
    table = Table("animal", [Line(1, None, "", lambda: figures)], {}, "")
    document = Document("taxa", "", [], [Part("p", "", "", columns, [Block("", [], [table])])], [])
    ((part,),) = [shown(document, pages_of(document).get_page(1))]
    ((_, cells),) = part.blocks[0].tables[0].lines
    return cells


def test_a_part_without_a_line_says_why_in_its_own_place() -> None:
    """A statement in which nothing was decided does not tell of decisions below its annex of sheets."""
    line = Line(1, None, "", lambda: {"n": Figure(1)})
    full = [Block("", [], [Table("animal", [line] * 150, {}, "")])]
    given = [("first", []), ("a", full), ("second", []), ("third", []), ("b", full), ("last", [])]
    parts = [Part(title, title, "", [NUMBER], blocks, words="None.") for title, blocks in given]
    document = Document("taxa", "", [], parts, [])
    pages = pages_of(document)
    told = [[part.title for part in shown(document, pages.get_page(n))] for n in pages.page_range]
    assert told == [["first", "a", "second", "third", "b"], ["b", "last"]]
    empty = Document("taxa", "", [], [parts[0], parts[2]], [])
    assert [part.title for part in shown(empty, pages_of(empty).get_page(1))] == ["first", "second"]
