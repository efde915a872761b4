"""Whose the animals of one lot can be: for each source of a pool the least, the most and the even share."""

from collections import defaultdict
from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass
from datetime import datetime

from inventory.book.models import Cell, Lot
from inventory.book.queries.quantities import traced_flows

from ..models import Sighting
from ..rules.shares import Bounds, Seen, Shares, Step
from .sightings import sightings_of
from .takes import current_takes
from .whereabouts_steps import OfPermit, Slips, Sources

# The box of what is thought away.
_LOST = "lost"


@dataclass(frozen=True, slots=True)
class LotSources:
    """Of each source, by its label, how many; the permits that have animals among the lots that share with
    this one; and sightings that the book leaves no room for, or that do not say by which line. ``widened``:
    the ranges can be wider than they need be."""

    found: list[tuple[str, Bounds]]
    permits: list[str]
    set_aside: list[Sighting]
    widened: bool = False


def sources_in_lot(
    lot: Lot, *, before: datetime, known_at: datetime | None = None, lost: int = 0, lost_in: int = 0
) -> list[tuple[str, Bounds]]:
    """See :func:`lot_sources`: the numbers alone."""
    return lot_sources(lot, before=before, known_at=known_at, lost=lost, lost_in=lost_in).found


def lot_sources(
    lot: Lot, *, before: datetime, known_at: datetime | None = None, lost: int = 0, lost_in: int = 0
) -> LotSources:
    """What the lot holds before ``before``, here and on loan, missing included: of each source, by its
    label, the permit's number or what the arrival says. A constant number of queries.

    ``lost``: as if so many more had gone at last from the place ``lost_in``, nobody knows of which source.
    """
    traced = traced_flows([lot.pk], before=before, known_at=known_at)
    seen = sightings_of(list(traced.family), before=before, known_at=known_at)
    sources = Sources(traced, Slips(current_takes(known_at=known_at)), seen)

    def held(cell: Hashable) -> bool:
        end = traced.ends.get(cell)  # type: ignore[call-overload]
        return end is not None and end.place_id is not None and end.lot_id == lot.pk

    steps = sources.steps()
    there = [cell for cell, end in traced.ends.items() if held(cell) and end.place_id == lost_in]
    shares = Shares([*steps, *_losses(there, steps, lost)], held)
    by_label: defaultdict[str, list[Hashable]] = defaultdict(list)
    for source in shares.sources:
        by_label[source.permit if isinstance(source, OfPermit) else str(source)].append(source)
    found = {label: shares.bounds(those, [True]) for label, those in by_label.items()}
    against = {n for n in shares.set_aside if n < len(sources.said)}
    used = {said.pk for n, said in enumerate(sources.said) if n not in against and isinstance(said, Sighting)}
    return LotSources(
        [(label, bounds) for label, bounds in sorted(found.items()) if bounds.most],
        sorted({source.permit for source in sources.families}),
        [one for one in seen if one.pk not in used],
        shares.widened,
    )


def _losses(cells: Collection[Hashable], steps: Sequence[Step | Seen], lost: int) -> list[Step]:
    """Animals that go from these cells at last, from the fullest first; never more than they hold."""
    holds: defaultdict[Hashable, int] = defaultdict(int)
    for step in steps:
        if isinstance(step, Seen):
            continue
        holds[step.from_box] -= step.n
        holds[step.to_box] += step.n
    losses = []
    for cell in sorted(cells, key=lambda cell: -holds[cell]):
        n = min(lost, holds[cell])
        if n > 0:
            losses.append(Step(cell, _LOST, n))
            lost -= n
    return losses


def is_hidden(lot: Lot, places: Collection[int]) -> bool:
    """The lot stands, or stood, in one of these places, whose numbers the reader may not see."""
    return bool(places) and Cell.objects.filter(lot=lot, account__place__in=places).exists()
