"""Of a tank's pool of several sources: whose are left if what is short is lost."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from census.differences.rules.facts import Line as LineFacts
from inventory.book.models import Lot
from inventory.permits.queries.whereabouts_pool import sources_in_lot
from inventory.permits.rules.shares import Bounds

from .reading import Row


@dataclass(frozen=True, slots=True)
class PoolShares:
    """``sources``: of each source (its label, what there is before the loss, what is left after it)."""

    lot: Lot
    lost: int
    sources: list[tuple[str, Bounds, Bounds]]


def pool_shares(row: Row, lines: Mapping[str, LineFacts], *, now: datetime) -> PoolShares | None:
    """What a loss of all that is short would leave of each source; ``None`` where there is no such question.

    A line of several lots says nothing of which of them is short, and a joined set nothing of which tank, so
    neither is asked. The book is as it stands now, as for all that a decision would post.
    """
    if len(row.parts) != 1 or len(row.parts[0].lots) != 1:
        return None
    part = row.parts[0]
    facts = lines.get(str(part.line))
    if facts is None or facts.difference >= 0 or facts.at_least or " + " not in facts.sources:
        return None
    lot, short = part.lots[0], -facts.difference
    before = dict(sources_in_lot(lot, before=now))
    after = dict(sources_in_lot(lot, before=now, lost=short, lost_in=part.line.place_id))
    nothing = Bounds(0, 0, 0.0)
    told = [(label, bounds, after.get(label, nothing)) for label, bounds in before.items()]
    return PoolShares(lot, short, told)
