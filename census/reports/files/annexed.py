"""The annex of a print: under each line's number its events, whose sum leads from opening to closing."""

from collections.abc import Iterator, Sequence
from typing import Any

from reportlab.lib.colors import black
from reportlab.platypus import CondPageBreak, LongTable, Paragraph, TableStyle

from ..rules.document import Document, Line
from ..rules.entries import Annex, Entry
from .letters import BLOCK, HEAD, LEFT, NUMBER, SMALL, TEXT, scientific, words, xml

# A heading, the head of its table and two events.
ROOM = 62.0
_HEADS = ("happened", "event", "what", "lot", "from and to", "counts as", "n", "entered by")
_WIDTHS = (125.0, 40.0, 85.0, 105.0, 145.0, 95.0, 35.0)


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


def _behind(document: Document) -> dict[tuple[object, ...], list[tuple[str, str, Line]]]:
    """The lines by their key in the annex, each with its part and unit, in the order of the print."""
    found: dict[tuple[object, ...], list[tuple[str, str, Line]]] = {}
    for part in document.parts:
        for table in part.tables():
            for line in table.lines:
                if line.annex:
                    found.setdefault(line.annex, []).append((part.title, table.unit, line))
    return found


def _heading(lines: Sequence[tuple[str, str, Line]]) -> str:
    """``Line 9: Homarus gammarus (animal, also line 117 of full form)``."""
    part, unit, first = lines[0]
    same = [line for title, _, line in lines if title == part]
    others = [f"also line {line.number} of {title.lower()}" for title, _, line in lines if title != part]
    if len(same) > 1:
        said = f"Lines {first.number} to {same[-1].number}: {xml(part)}"
    else:
        name = scientific(first.name.accepted) if first.name else ""
        said = f"Line {first.number}: {' '.join(text for text in (name, xml(first.label)) if text)}"
    return f"{said} ({xml(', '.join((unit, *others)))})"


def _entries(entries: Sequence[Entry], width: float) -> LongTable:
    rows: list[list[Any]] = [[words(one, HEAD if one == "n" else LEFT) for one in _HEADS]]
    for entry in entries:
        texts = (entry.happened, entry.event, entry.kind, entry.lot, entry.way, entry.column)
        rows.append(
            [
                *(words(text, SMALL) for text in texts),
                words(_signed(entry.n), NUMBER),
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
