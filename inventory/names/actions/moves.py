"""Lots go from one taxon to another, and it is written down that they did."""

from collections.abc import Collection
from datetime import datetime

from ..models import MovedLot, Taxon


def move_lots(
    taxon: Taxon, to: Taxon, *, at: datetime, accessions: Collection[str] | None = None
) -> list[str]:
    """Moves all lots of ``taxon``, or those named, to another taxon; answers their numbers.

    A report under earlier names finds them where they stood. No count changes.
    """
    lots = taxon.lots.all() if accessions is None else taxon.lots.filter(accession__in=accessions)
    moved = sorted(lots.values_list("accession", flat=True))
    lots.update(taxon=to)
    MovedLot.objects.bulk_create(
        MovedLot(accession=accession, from_taxon=taxon, to_taxon=to, at=at) for accession in moved
    )
    return moved
