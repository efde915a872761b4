"""The annex of a print: under each line's number its events, whose sum leads from opening to closing."""

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from reportlab.lib.colors import black
from reportlab.platypus import CondPageBreak, LongTable, Paragraph, TableStyle

from ..rules.document import Document, Line
from ..rules.entries import Annex, Entry
from .letters import BLOCK, COUNTED, HEAD, LEFT, SMALL, TEXT, scientific, words, xml

# A heading, the head of its table and two events.
ROOM = 62.0
_HEADS = ("happened", "event", "what", "lot", "from and to", "counts as", "n", "entered by")
_WIDTHS = (125.0, 40.0, 85.0, 105.0, 145.0, 95.0, 35.0)


class _Shown(NamedTuple):
    """A line with its part, its unit, and its block where the part has several."""

    part: str
    block: str
    unit: str
    line: Line


def annex_pages(document: Document, annex: Annex, width: float) -> Iterator[Any]:
    """Each event stands once; where several lines show it, the heading names them all."""
    yield words(
        f"By line number, oldest first. A line that is not named here {document.unnamed}, or adds up, sorts "
        "or counts what stands under the others.",
        TEXT,
    )
    for key, lines in _behind(document).items():
        entries = annex.get(key, ())
        if entries:
            yield CondPageBreak(ROOM)
            yield Paragraph(f"{_heading(lines)}, {_signed(sum(one.n for one in entries))} in all", BLOCK)
            yield _entries(entries, width)


def _behind(document: Document) -> dict[tuple[object, ...], list[_Shown]]:
    """The lines by their key in the annex, in the order of the print."""
    found: dict[tuple[object, ...], list[_Shown]] = {}
    for part in document.parts:
        for block in part.blocks:
            title = block.title if len(part.blocks) > 1 else ""
            for table in block.tables:
                for line in table.lines:
                    if line.annex:
                        found.setdefault(line.annex, []).append(_Shown(part.title, title, table.unit, line))
    return found


def _heading(shown: Sequence[_Shown]) -> str:
    """``Line 9: Homarus gammarus (animal, also line 117 of full form)``."""
    first = shown[0]
    same = [one.line for one in shown if one.part == first.part]
    others = [f"also line {one.line.number} of {one.part.lower()}" for one in shown if one.part != first.part]
    line = first.line
    if len(same) > 1:
        said = f"Lines {line.number} to {same[-1].number}: {xml(first.part)}"
    else:
        # What a permit calls an animal does not say under which permit.
        name = scientific(line.name.accepted) if line.name else xml(first.block and f"{first.block}:")
        said = f"Line {line.number}: {' '.join(text for text in (name, xml(line.label)) if text)}"
    return f"{said} ({xml(', '.join((first.unit, *others)))})"


def _entries(entries: Sequence[Entry], width: float) -> LongTable:
    rows: list[list[Any]] = [[words(one, HEAD if one == "n" else LEFT) for one in _HEADS]]
    for entry in entries:
        texts = (entry.happened, entry.event, entry.kind, entry.lot, entry.way, entry.column)
        rows.append(
            [
                *(words(text, SMALL) for text in texts),
                words(_signed(entry.n), COUNTED),
                words(entry.entered, SMALL),
            ]
        )
    drawn = LongTable(rows, colWidths=[*_WIDTHS, width - sum(_WIDTHS)], repeatRows=1, hAlign="LEFT")
    drawn.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, 0), 0.5, black),
                ("NOSPLIT", (0, 0), (0, 1)),
                ("TOPPADDING", (0, 0), (-1, -1), 0.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (6, 0), (6, -1), 8),
            ]
        )
    )
    return drawn


def _signed(n: int) -> str:
    return f"{n:+d}" if n else "0"
