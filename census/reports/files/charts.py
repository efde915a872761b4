"""The charts of a report, made of its own tables, for the page and for paper.

No figure is worked out here: a bar is a number that stands in a table of the same report, with its sign.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from math import ceil

from census.change.rules.columns import HEADINGS, SIGNS
from census.population.writers.charts import Bar, flows, trend, waterfall
from census.population.writers.trend import kinds_of
from inventory.book.rules.words import signed, whole

from ..rules.document import Block, Chart, Document, Kind, Table
from ..rules.permit_bars import Bars
from .permit_bars import permit_bars
from .plates import ABREAST

# Bars of one drawing on paper: more would be higher than a page, or too small to read.
BARS_ON_PAPER = 7
# A chart has one unit, and of the others there are too few for one.
UNIT = "animal"
_UNEXPLAINED = ("found", "unaccounted")
# Beside a bar stands a word or two.
_SHORT = {
    "received": "received",
    "born": "born",
    "unaccounted": "unaccounted",
    "late": "entered late",
}
_COLUMN_OF = {heading: column for column, heading in HEADINGS.items()}


def charts_of(document: Document) -> list[Chart]:
    """What stands above the tables."""
    made = _OF_LAYOUT[document.layout](document) if document.layout in _OF_LAYOUT else ()
    return [*made, *document.charts]


def _change(document: Document) -> Iterator[Chart]:
    """From the opening to the closing, in the order of the columns; no bar for what is zero."""
    table = _of_animals(document, "full")
    if table is None:
        return
    total = {key: figure.number for key, figure in table.total.items()}
    bars = [
        Bar(_SHORT.get(column, HEADINGS[column]), SIGNS[column] * total[column], column in _UNEXPLAINED)
        for column in SIGNS
        if column not in ("opening", "closing") and total.get(column)
    ]
    opening, closing = total["opening"], total["closing"]
    title = "What made the change"
    words = (
        f"From {whole(opening)} to {whole(closing)} animals, {signed(closing - opening)}."
        " The numbers are the total of the full form."
    )
    yield Chart(title, waterfall("change", title, opening, bars, closing), words)


def _flows(document: Document) -> Iterator[Chart]:
    """Quarter by quarter what came in and went out, as six kinds."""
    table = _of_animals(document, "flows")
    if table is None:
        return
    rows = {_COLUMN_OF.get(line.label, "late"): line.figures for line in table.lines}
    quarters = []
    for column in document.part("flows").columns:
        if column.kind is Kind.NUMBER and not column.key.startswith("year "):
            of = {name: figures[column.key].number for name, figures in rows.items()}
            of["died"] += of.pop("died_within_30_days")
            bars = [Bar(kind, n, kind in ("found", "lost")) for kind, n in kinds_of(of).items()]
            quarters.append((column.heading.removeprefix("20"), bars))
    title = "Flows by quarter"
    words = (
        "Bred: born, divided or settled. Brought: collected, bought, lent to us or come back. Sent: put down,"
        " released, sent on, lent or given back. Striped bars are unexplained: found or lost. What came late"
        " for an earlier period stands in the table alone."
    )
    yield Chart(title, flows("flows", title, words, quarters), words)


def _course(document: Document) -> Iterator[Chart]:
    """What the book held at the end of each quarter, as steps; the counts are drawn place by place."""
    table = _of_animals(document, "course")
    if table is None:
        return
    rows = [line.figures for line in table.lines]
    # Before the quarters may stand what else was asked for.
    questions = document.questions[-len(rows) :]
    days = [question.last_day for question in questions]
    first = questions[0].first_day
    closings = [row["closing"].number for row in rows]
    book = [(first, rows[0]["opening"].number), *zip(days, closings, strict=True)]
    title = "In the book, quarter by quarter"
    words = f"The line steps at the end of each quarter, to {whole(closings[-1])} animals at the last."
    yield Chart(title, trend((title, words), book, [], (first, days[-1])), words)


def _of_animals(document: Document, part: str) -> Table | None:
    return next((table for table in document.part(part).tables() if table.unit == UNIT), None)


_OF_LAYOUT: Mapping[str, Callable[[Document], Iterator[Chart]]] = {
    "taxa": _change,
    "periods": _flows,
    "taxon": _course,
}


def charts_of_block(block: Block, *, on_paper: bool = False) -> list[Chart]:
    """What stands above the tables of one block."""
    bars = block.bars
    if not bars or not bars.bars:
        return []
    drawn = [*_pieces(bars)] if on_paper else [bars]
    words = [bars.words, *([""] * (len(drawn) - 1))]
    return [Chart(one.title, permit_bars(one), said) for one, said in zip(drawn, words, strict=True)]


def _pieces(bars: Bars) -> Iterator[Bars]:
    """As many drawings as are needed, about equally long. More than one fill the width of the page, for what
    is lower stands on the page that was begun."""
    drawings = ceil(len(bars.bars) / BARS_ON_PAPER)
    if drawings > 1:
        drawings = ceil(drawings / ABREAST) * ABREAST
    each = ceil(len(bars.bars) / drawings)
    for at in range(0, len(bars.bars), each):
        yield replace(bars, key=f"{bars.key}-{at}", bars=bars.bars[at : at + each])
