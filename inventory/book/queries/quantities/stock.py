"""Stock: what is held, by taxon, place, lot or source, as of a moment, as known at another."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from inventory.book.rules.scope import Scope
from inventory.names.models import Taxon

from ..names import PrintedNames
from .balances import Held, cell_balances, held_sum
from .facts import CellFact, cell_facts
from .sources import source_labels


class StockBy(StrEnum):
    """What one row of the stock is."""

    TAXON = "taxon"
    PLACE = "place"
    LOT = "lot"
    PERMIT = "permit"

    @property
    def column(self) -> str:
        """Name of the first column."""
        return "name" if self is StockBy.TAXON else self.value


@dataclass(frozen=True, slots=True)
class StockRow:
    """``label`` is the taxon's accepted name, the place's code, the lot's accession number or the
    source; one unit a row."""

    label: str
    unit: str
    held: Held


def stock(
    *,
    by: StockBy,
    before: datetime,
    known_at: datetime | None = None,
    scope: Scope = Scope.HERE,
    names: PrintedNames | None = None,
) -> list[StockRow]:
    """Rows of the stock before ``before``, sorted by label and unit; empty rows are left out.

    ``names`` are those to print, none: those of now.

    A row stays when its total is zero but some of its numbers are not (-1 male, +1 unknown), for
    such a row needs somebody's eye. The number of queries does not depend on the number of rows.
    """
    balances = cell_balances(before=before, known_at=known_at)
    facts = cell_facts()
    labels = _labels(by, before, known_at)
    groups: defaultdict[tuple[str, str], list[tuple[str, str, int]]] = defaultdict(list)
    for cell, n in balances.items():
        fact = facts[cell]
        if scope.holds(off_site=fact.off_site, owner=fact.owner):
            groups[_label(by, fact, labels, names), fact.unit].append((fact.sex, fact.standing, n))
    rows = [StockRow(label, unit, held_sum(parts)) for (label, unit), parts in sorted(groups.items())]
    return [row for row in rows if row.held != Held()]


def _labels(by: StockBy, before: datetime, known_at: datetime | None) -> dict[int, str]:
    if by is StockBy.TAXON:
        return dict(Taxon.objects.values_list("pk", "scientific_name"))
    if by is StockBy.PERMIT:
        return source_labels(before=before, known_at=known_at)
    return {}


def _label(by: StockBy, fact: CellFact, labels: dict[int, str], names: PrintedNames | None) -> str:
    if by is StockBy.TAXON and names is not None:
        return names.taxa[names.taxon_of(fact.lot_id, fact.taxon_id)].scientific_name
    if by is StockBy.TAXON:
        return labels[fact.taxon_id]
    if by is StockBy.PLACE:
        return fact.place_code
    if by is StockBy.LOT:
        return fact.accession
    return labels.get(fact.lot_id, NO_SOURCE)


NO_SOURCE = "source not on the books"
