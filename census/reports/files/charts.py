"""The charts of a report, made of its own tables, for the page and for paper."""

from collections.abc import Iterator
from dataclasses import replace
from math import ceil

from ..rules.document import Block, Chart, Document
from ..rules.permit_bars import Bars
from .permit_bars import permit_bars

# Bars of one drawing on paper: more would be higher than a page, or too small to read.
BARS_ON_PAPER = 7


def charts_of(document: Document) -> list[Chart]:
    """What stands above the tables."""
    return list(document.charts)


def charts_of_block(block: Block, *, on_paper: bool = False) -> list[Chart]:
    """What stands above the tables of one block."""
    bars = block.bars
    if not bars or not bars.bars:
        return []
    drawn = [*_pieces(bars)] if on_paper else [bars]
    words = [bars.words, *([""] * (len(drawn) - 1))]
    return [Chart(one.title, permit_bars(one), said) for one, said in zip(drawn, words, strict=True)]


def _pieces(bars: Bars) -> Iterator[Bars]:
    """As many drawings as are needed, about equally long."""
    drawings = ceil(len(bars.bars) / BARS_ON_PAPER)
    each = ceil(len(bars.bars) / drawings)
    for at in range(0, len(bars.bars), each):
        yield replace(bars, key=f"{bars.key}-{at}", bars=bars.bars[at : at + each])
