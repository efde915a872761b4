"""Lines for those who sign a print by hand."""

from collections.abc import Sequence
from typing import Any

from reportlab.lib.colors import black
from reportlab.platypus import Flowable, Spacer, Table, TableStyle

from .letters import BLOCK, SMALL, words

# Room for a hand, in points.
HAND = 30.0


def signature_lines(signers: Sequence[str], width: float) -> list[Flowable]:
    """A line for each; to be kept on one page."""
    each = width / (2 * len(signers))
    cells: list[list[Any]] = [
        [""] * (2 * len(signers)),
        [words(text, SMALL) for one in signers for text in (f"{one}: name, signature", "place and day")],
    ]
    table = Table(cells, colWidths=[each * 1.3, each * 0.7] * len(signers), rowHeights=[HAND, None])
    table.setStyle(
        TableStyle(
            [
                ("LINEABOVE", (0, 1), (-1, 1), 0.8, black),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 12),
            ]
        )
    )
    return [Spacer(1, 10), words("Signatures", BLOCK), table]
