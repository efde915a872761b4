"""The count class of what was written in."""

from django.db.models import Q

from inventory.book.models import Lot
from inventory.names.models import Taxon

from ..models import Line
from ..rules.tolerance import EXACT
from .holdings import class_of


def class_of_written(name: str) -> str:
    """A where the name is that of a kind of class A in the house, so that a second counter counts it too.

    Other names give no class: a first count of them is no count beside a book.
    """
    named = Taxon.objects.filter(
        Q(scientific_name__iexact=name.strip()) | Q(common_name__iexact=name.strip())
    )
    return EXACT if name.strip() and named.filter(count_class=EXACT).exists() else ""


def class_found(taxon: Taxon | None, lot: Lot | None) -> str:
    """A where what it was found to be, or the lot that it joins, is of class A; else no class."""
    found = class_of(lot) if lot is not None else taxon.count_class if taxon is not None else ""
    return EXACT if found == EXACT else ""


def counted_by_two(line: Line) -> bool:
    """True where the last two counts, which different people made, say the same number."""
    counts = sorted(line.counts.filter(replaced_by=None), key=lambda count: count.round)[-2:]
    return len(counts) == 2 and counts[0].value == counts[1].value
