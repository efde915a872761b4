"""A report as a page shows it: a part of its lines, each figure with a link to its events."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from itertools import groupby
from urllib.parse import quote_plus

from django.core.paginator import Page, Paginator
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from inventory.names.rules.italics import italic_part

from .files.charts import charts_of_block
from .rules.document import Block, Chart, Column, Document, Figure, Kind, Line, Part, Table
from .rules.lines import Lines, Place
from .rules.shown import said_of

LINES_ON_A_PAGE = 200
FEW_LETTERS = 26


@dataclass(frozen=True, slots=True)
class ShownTable:
    """One table; ``of`` is its unit, ``part`` says which lines of how many are here when not all are."""

    caption: str
    label: str
    named: bool
    headings: SafeString
    lines: list[tuple[Line, SafeString]]
    total_label: str
    total: SafeString
    lead: int


@dataclass(frozen=True, slots=True)
class ShownBlock:
    title: str
    facts: Sequence[tuple[str, str]]
    tables: list[ShownTable]
    notes: Sequence[str]
    charts: Sequence[Chart]


@dataclass(frozen=True, slots=True)
class ShownPart:
    title: str
    words: str
    several: bool
    blocks: list[ShownBlock]


def pages_of(document: Document) -> "Paginator[Place]":
    """All lines of the report in order, each with where it stands."""
    return Paginator(Lines(document), LINES_ON_A_PAGE)


def shown(document: Document, page: Page[Place]) -> list[ShownPart]:
    """What stands on one page. A part without a line says why in its own place: before the next part that
    begins here, or at the end of the last page."""
    parts = []
    first, told = _first_lines(document), 0
    for p, in_part in groupby(page.object_list, key=lambda place: place[0]):
        part = document.parts[p]
        if page.start_index() <= first[p]:
            before = max((q for q in first if q < p), default=-1)
            parts += [_without_lines(document.parts[q]) for q in range(before + 1, p)]
        told = p
        blocks = [
            _block(part, part.blocks[b], list(in_block))
            for b, in_block in groupby(in_part, key=lambda one: one[1])
        ]
        parts.append(ShownPart(part.title, part.words, len(part.blocks) > 1, blocks))
    if not page.has_next():
        after = told + 1 if first else 0
        parts += [_without_lines(part) for part in document.parts[after:]]
    return parts


def _first_lines(document: Document) -> dict[int, int]:
    """By part that has any, the place of its first line among all lines, from 1."""
    found, at = {}, 1
    for p, part in enumerate(document.parts):
        lines = sum(len(table.lines) for table in part.tables())
        if lines:
            found[p] = at
        at += lines
    return found


def _without_lines(part: Part) -> ShownPart:
    return ShownPart(part.title, part.words, False, [])


def _block(part: Part, block: Block, places: list[Place]) -> ShownBlock:
    tables = [
        _table(part, block, block.tables[t], [place[3] for place in of_table])
        for t, of_table in groupby(places, key=lambda place: place[2])
    ]
    return ShownBlock(block.title, block.facts, tables, block.notes, charts_of_block(block))


def _table(part: Part, block: Block, table: Table, lines: list[Line]) -> ShownTable:
    caption = f"{block.title}, unit: {table.unit}"
    if len(lines) < len(table.lines):
        caption += f" ({len(lines)} of {len(table.lines)} lines here; the total is of all)"
    columns = list(_pieces(part.columns))
    named = any(line.name for line in lines)
    # What the heading above says of all lines is not said again beside each.
    label = "" if named and _says_label(block, table.lines) else part.label
    events = reverse("change_events")
    return ShownTable(
        caption=caption,
        label=label,
        named=named,
        headings=format_html_join("", '<th scope="col" class="{}">{}{}</th>', map(_heading, columns)),
        lines=[(line, _cells(columns, line.figures, events)) for line in lines],
        total_label=table.total_label,
        total=_cells(columns, table.total, events) if table.total_label else SafeString(),
        lead=1 + bool(label) + named,
    )


def _says_label(block: Block, lines: Sequence[Line]) -> bool:
    """The block is of one place, and its title begins with the place's code."""
    return bool(lines[0].label) and block.title.partition(" ")[0] == lines[0].label == lines[-1].label


_Piece = tuple[Column, list[Column]]


def _pieces(columns: Sequence[Column]) -> Iterator[_Piece]:
    """Each column with those that stand small under it."""
    piece: _Piece | None = None
    for column in columns:
        if column.under and piece:
            piece[1].append(column)
        else:
            if piece:
                yield piece
            piece = (column, [])
    if piece:
        yield piece


def _heading(piece: _Piece) -> tuple[str, str, SafeString]:
    column, below = piece
    css = " ".join(word for word in ("num" if _counts(column) else "", *_told(column)) if word)
    small = ", ".join([*([column.mark] if column.mark else []), *(one.heading for one in below)])
    return (
        css,
        column.heading[:1].upper() + column.heading[1:],
        format_html(" <small>{}</small>", small) if small else SafeString(),
    )


def _told(column: Column) -> Iterator[str]:
    if column.mark:
        yield "restated"
    if column.ruled:
        yield "ruled"


def _counts(column: Column) -> bool:
    """A limit is a number with, at times, a word behind it."""
    return column.kind is not Kind.TEXT or column.key == "limit"


def _cells(columns: Sequence[_Piece], figures: Mapping[str, Figure], events: str) -> SafeString:
    """Made here: a page has thousands, and a template takes three times as long for each. ``events`` is the
    address of the page of events."""
    return mark_safe("".join(_cell(piece, figures, events) for piece in columns))  # each is escaped


def _cell(piece: _Piece, figures: Mapping[str, Figure], events: str) -> str:
    column, below = piece
    figure = figures[column.key]
    css = [_kind_of(column, figure), *_told(column)]
    if figure.value == 0:
        css.append("faded")
    small = "".join(f"<br><small>{text}</small>" for text in _small(below, figures, events))
    if small or figure.asked or figure.at or figure.pieces or column.key == "names":
        return f'<td class="{escape(" ".join(css))}">{_linked(column, figure, events)}{small}</td>'
    return _plain_cell(" ".join(css), said_of(column, figure))


def _kind_of(column: Column, figure: Figure) -> str:
    """A number; words that need a wide column; or a few, which take no more room than they need."""
    if _counts(column):
        return "num"
    return "why" if figure.pieces or len(said_of(column, figure)) > FEW_LETTERS else "words"


@lru_cache(maxsize=4096)
def _plain_cell(css: str, text: str) -> str:
    """Most cells of a long report are a 0 of which there is nothing more to say."""
    return f'<td class="{escape(css)}">{escape(text)}</td>'


def _small(below: Sequence[Column], figures: Mapping[str, Figure], events: str) -> Iterator[str]:
    for column in below:
        text = said_of(column, figures[column.key])
        # "at most 0" below a 0 says nothing.
        if text and not (column.kind is Kind.NUMBER and figures[column.key].value == 0):
            linked = _linked(column, figures[column.key], events)
            yield f"{escape(column.heading)} {linked}" if column.kind is Kind.NUMBER else linked


def _linked(column: Column, figure: Figure, events: str) -> str:
    """What a cell says, escaped, and opening what stands behind it."""
    if figure.pieces:
        return "; ".join(
            f'<a href="{escape(one.at)}">{escape(one.words)}</a>{escape(one.after)}' for one in figure.pieces
        )
    said = said_of(column, figure)
    text = escape(said)
    if figure.at and text:
        return f'<a href="{escape(figure.at)}">{text}</a>'
    if not figure.asked:
        species = column.key == "names" and italic_part(said) == said != ""
        return f'<i class="name">{text}</i>' if species else text
    return f'<a href="{escape(f"{events}?{_query(figure.asked)}")}">{text}</a>'


def _query(asked: Mapping[str, str]) -> str:
    """The same as ``urlencode``. A page asks a few words over and over."""
    return "&".join(f"{_quoted(name)}={_quoted(value)}" for name, value in asked.items())


_quoted = lru_cache(maxsize=4096)(quote_plus)
