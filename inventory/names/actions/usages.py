"""What a release says of a name, written on a taxon."""

from ..models import Taxon
from ..rules.compare import merged_classification
from ..rules.verdicts import Classification, Usage

RANKS = ("kingdom", "phylum", "class_name", "order", "family", "genus")


def take_usage(taxon: Taxon, usage: Usage) -> None:
    """Writes authorship, rank and classification of a usage on a taxon, unsaved; not the name.

    Where the release says nothing, what was known stays.
    """
    known = Classification(*(getattr(taxon, rank) for rank in RANKS))
    taken = merged_classification(known, usage.classification)
    for rank in RANKS:
        setattr(taxon, rank, getattr(taken, rank))
    taxon.authorship = usage.authorship[:200] or taxon.authorship
    taxon.rank = usage.rank or taxon.rank
