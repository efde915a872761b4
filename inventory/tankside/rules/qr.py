"""The QR code of a label: an address of this site that opens the tank side at a tank or a lot.

What a reader needs (ISO/IEC 18004): four modules of white all round. How small a module may be
depends on printer and camera; 0.4 mm is what a phone reads from a hand's breadth through a wet sleeve
(*common practice, no source*).
"""

from dataclasses import dataclass
from urllib.parse import quote

import segno

QUIET = 4
SMALLEST_MODULE = 0.4
# Quarter of the code words may be lost (Q), or a seventh (M): scratches, salt and a torn corner.
LEVELS = ("Q", "M")


class TooSmall(ValueError):
    """The label has no room for this address; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Symbol:
    """Modules row by row, True is dark, without the quiet zone; ``module`` is a side in mm."""

    rows: tuple[tuple[bool, ...], ...]
    module: float
    level: str

    @property
    def size(self) -> int:
        return len(self.rows)

    def runs(self) -> list[tuple[int, int, int]]:
        """Dark modules side by side as (row, first column, how many)."""
        found = []
        for y, row in enumerate(self.rows):
            x = 0
            while x < len(row):
                start = x
                while x < len(row) and row[x]:
                    x += 1
                if x > start:
                    found.append((y, start, x - start))
                x += 1
        return found


def address_of_place(site: str, code: str) -> str:
    """``http://localhost:8000/tank/#E02``."""
    return f"{site.rstrip('/')}/tank/#{quote(code, safe='')}"


def address_of_lot(site: str, accession: str) -> str:
    """``http://localhost:8000/tank/#lot/26000018``."""
    return f"{site.rstrip('/')}/tank/#lot/{quote(accession, safe='')}"


def symbol(address: str, *, side: float) -> Symbol:
    """The code of ``address`` on a square of ``side`` mm, its quiet zone included.

    The sturdier level is taken where its modules are still large enough. Raises :class:`TooSmall`.
    """
    smallest = 0.0
    for level in LEVELS:
        made = segno.make_qr(address, error=level, boost_error=False)
        rows = tuple(tuple(bool(module) for module in row) for row in made.matrix)
        module = side / (len(rows) + 2 * QUIET)
        if module >= SMALLEST_MODULE:
            return Symbol(rows, module, level)
        smallest = module
    raise TooSmall(
        f"The address {address!r} would have modules of {smallest:.2f} mm, and a camera needs "
        f"{SMALLEST_MODULE} mm: take larger labels, or a shorter address of the site."
    )
