"""How many of each sex a taxon has at the end of the days asked."""

from collections import Counter, defaultdict
from datetime import tzinfo

from inventory.book.queries.quantities import cell_balances, cell_facts
from inventory.book.rules.happened import end_of_day

from ..rules.asked import Asked
from .reading import lots_of


def sexes_of(asked: Asked, *, zone: tzinfo) -> dict[int, Counter[str]]:
    """Animals by taxon and sex. Four queries at most."""
    lots = lots_of(asked)
    found: defaultdict[int, Counter[str]] = defaultdict(Counter)
    facts = cell_facts()
    for cell, n in cell_balances(before=end_of_day(asked.last_day, zone), known_at=asked.known_at).items():
        fact = facts[cell]
        counts = asked.scope.holds(off_site=fact.off_site, owner=fact.owner)
        if fact.lot_id in lots and counts and asked.place in (None, fact.place_id):
            found[fact.taxon_id][fact.sex] += n
    return dict(found)
