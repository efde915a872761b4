"""A report as a page shows it: a part of its lines, each figure with a link to its events."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from urllib.parse import urlencode

from django.core.paginator import Page, Paginator
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from .files.charts import charts_of_block
from .rules.document import Block, Chart, Column, Document, Figure, Kind, Line, Part, Table
from .rules.lines import Lines, Place
from .rules.shown import said_of

LINES_ON_A_PAGE = 200
FEW_LETTERS = 26

_SPECIES = re.compile(r"[A-Z][a-z]+ [a-z-]+")
"""A name of two words is printed in italics; those of families and above are not (ICZN, 4th edition, appendix
B, 6, from memory)."""


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
    """What stands on one page. Parts without a line are on the last one, with what they say."""
    parts = []
    for p, in_part in groupby(page.object_list, key=lambda place: place[0]):
        part = document.parts[p]
        blocks = [
            _block(part, part.blocks[b], list(in_block))
            for b, in_block in groupby(in_part, key=lambda one: one[1])
        ]
        parts.append(ShownPart(part.title, part.words, len(part.blocks) > 1, blocks))
    if not page.has_next():
        parts += [
            ShownPart(part.title, part.words, False, [])
            for part in document.parts
            if not any(table.lines for table in part.tables())
        ]
    return parts


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
    return ShownTable(
        caption=caption,
        label=part.label,
        named=named,
        headings=format_html_join("", '<th scope="col" class="{}">{}{}</th>', map(_heading, columns)),
        lines=[(line, _cells(columns, line.figures)) for line in lines],
        total_label=table.total_label,
        total=_cells(columns, table.total) if table.total_label else SafeString(),
        lead=1 + bool(part.label) + named,
    )


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
    return column.kind is not Kind.TEXT


def _cells(columns: Sequence[_Piece], figures: Mapping[str, Figure]) -> SafeString:
    """Made here: a page has thousands, and a template takes three times as long for each."""
    return mark_safe("".join(_cell(piece, figures) for piece in columns))  # each is escaped


def _cell(piece: _Piece, figures: Mapping[str, Figure]) -> SafeString:
    column, below = piece
    css = [_kind_of(column, figures[column.key]), *_told(column)]
    if figures[column.key].value == 0:
        css.append("faded")
    small = format_html_join("", "<br><small>{}</small>", ((text,) for text in _small(below, figures)))
    return format_html('<td class="{}">{}{}</td>', " ".join(css), _linked(column, figures[column.key]), small)


def _kind_of(column: Column, figure: Figure) -> str:
    """A number; words that need a wide column; or a few, which take no more room than they need."""
    if _counts(column):
        return "num"
    return "why" if figure.pieces or len(said_of(column, figure)) > FEW_LETTERS else "words"


def _small(below: Sequence[Column], figures: Mapping[str, Figure]) -> Iterator[SafeString]:
    for column in below:
        text = said_of(column, figures[column.key])
        if text:
            linked = _linked(column, figures[column.key])
            yield format_html("{} {}", column.heading, linked) if column.kind is Kind.NUMBER else linked


def _linked(column: Column, figure: Figure) -> SafeString:
    if figure.pieces:
        return format_html_join(
            "; ", '<a href="{}">{}</a>{}', ((one.at, one.words, one.after) for one in figure.pieces)
        )
    text = said_of(column, figure)
    if figure.at and text:
        return format_html('<a href="{}">{}</a>', figure.at, text)
    if not figure.asked:
        species = column.key == "names" and _SPECIES.fullmatch(text)
        return format_html('<i class="name">{}</i>' if species else "{}", text)
    return format_html('<a href="{}?{}">{}</a>', reverse("change_events"), urlencode(figure.asked), text)
