"""Whose the animals of one lot can be: for each source of a pool the least, the most and the even share."""

from collections import defaultdict
from collections.abc import Collection, Hashable
from datetime import datetime

from inventory.book.models import Cell, Lot
from inventory.book.queries.quantities import traced_flows

from ..rules.shares import Bounds, Shares
from .takes import current_takes
from .whereabouts_steps import OfPermit, Slips, Sources


def sources_in_lot(
    lot: Lot, *, before: datetime, known_at: datetime | None = None
) -> list[tuple[str, Bounds]]:
    """What the lot holds before ``before``, here and on loan, missing included: of each source, by its
    label, the permit's number or what the arrival says. A constant number of queries."""
    traced = traced_flows([lot.pk], before=before, known_at=known_at)
    sources = Sources(traced, Slips(current_takes(known_at=known_at)))

    def held(cell: Hashable) -> bool:
        end = traced.ends[cell]  # type: ignore[index]
        return end.place_id is not None and end.lot_id == lot.pk

    shares = Shares(sources.steps(), held)
    by_label: defaultdict[str, list[Hashable]] = defaultdict(list)
    for source in shares.sources:
        by_label[source.permit if isinstance(source, OfPermit) else str(source)].append(source)
    found = {label: shares.bounds(those, [True]) for label, those in by_label.items()}
    return [(label, bounds) for label, bounds in sorted(found.items()) if bounds.most]


def is_hidden(lot: Lot, places: Collection[int]) -> bool:
    """The lot stands, or stood, in one of these places, whose numbers the reader may not see."""
    return bool(places) and Cell.objects.filter(lot=lot, account__place__in=places).exists()
