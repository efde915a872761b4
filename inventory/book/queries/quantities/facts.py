"""What each cell of the book is: whose animals, which, where."""

from collections.abc import Iterable
from typing import NamedTuple

from .sql import among, rows


class CellFact(NamedTuple):
    """One inside cell. A named tuple, for a report reads a hundred thousand of them."""

    cell_id: int
    lot_id: int
    accession: str
    taxon_id: int
    unit: str
    owner: str
    place_id: int
    place_code: str
    off_site: bool
    sex: str
    stage: str
    standing: str


_FACTS = """
SELECT c.id, c.lot_id, l.accession, l.taxon_id, l.unit, l.owner,
       p.id, p.code, p.kind = 'off_site', c.sex, c.stage, c.standing
  FROM book_cell c
  JOIN book_lot l ON l.id = c.lot_id
  JOIN book_account a ON a.id = c.account_id
  JOIN book_place p ON p.id = a.place_id
 WHERE c.inside
"""


def cell_facts(
    *, lots: Iterable[int] | None = None, cells: Iterable[int] | None = None
) -> dict[int, CellFact]:
    """Facts of the inside cells by cell id: of all, or of the given lots or cells. One query."""
    sql = _FACTS
    params: list[object] = []
    for column, ids in (("c.lot_id", lots), ("c.id", cells)):
        if ids is not None:
            condition, more = among(column, ids)
            sql += f" AND {condition}"
            params += more
    # SQLite answers 0 or 1 where PostgreSQL answers false or true; they compare and print alike
    # only after this.
    return {row[0]: CellFact._make((*row[:8], bool(row[8]), *row[9:])) for row in rows(sql, params)}
