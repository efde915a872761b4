"""What the house called its animals before an earlier moment. A constant number of queries.

Moments are half-open as in the book: what was decided at the very moment is not in force yet.
"""

from datetime import datetime

from ..models import AdoptedChange, MovedLot, Taxon, TaxonName
from ..rules.full_name import full_name


def taxa_as_of(moment: datetime | None) -> dict[int, Taxon]:
    """All taxa by number, with the name and classification they had before ``moment`` (none: now).

    Copies for printing, never to be saved. A taxon that the house did not have yet bears its first
    name. Four queries, one for now.
    """
    taxa = Taxon.objects.in_bulk()
    if moment is None:
        return taxa
    changed = AdoptedChange.objects.filter(adoption__at__gte=moment).order_by("-adoption__at", "-id")
    # The latest first, so that what stays is from before the first change after the moment.
    for taxon_id, before in changed.values_list("taxon_id", "before"):
        for field, was in before.items():
            setattr(taxa[taxon_id], field, was)
    for row in _names_of(moment):
        taxa[row.taxon_id].scientific_name = full_name(row.scientific_name, row.qualifier)
        taxa[row.taxon_id].authorship = row.authorship
    return taxa


def _names_of(moment: datetime) -> list[TaxonName]:
    """The name that was in force, of each taxon that was renamed since; its first when it is younger.

    A taxon whose only rows are of an adoption since says in that adoption what it was called.
    """
    renamed_since = TaxonName.objects.filter(since__gte=moment).values("taxon_id")
    named: dict[int, TaxonName] = {}
    adopted = set(
        AdoptedChange.objects.filter(adoption__at__gte=moment).values_list("taxon_id", "adoption__at")
    )
    for row in TaxonName.objects.filter(taxon_id__in=renamed_since).order_by("since", "id"):
        if row.since < moment or (row.taxon_id not in named and (row.taxon_id, row.since) not in adopted):
            named[row.taxon_id] = row
    return list(named.values())


def taxa_of_moved_lots(moment: datetime | None) -> dict[str, int]:
    """Where lots that have moved since stood before ``moment``: number of the taxon by accession number.

    Lots move when a release merges or splits names, and when a review joins taxa. One query.
    """
    if moment is None:
        return {}
    moves = MovedLot.objects.filter(at__gte=moment).order_by("at", "id")
    stood: dict[str, int] = {}
    for accession, taxon_id in moves.values_list("accession", "from_taxon_id"):
        stood.setdefault(accession, taxon_id)
    return stood
