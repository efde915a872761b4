"""What is known of one taxon by name: its history in the house, its synonyms, its common names."""

from dataclasses import dataclass

from ..models import Taxon, TaxonName
from ..rules.lists import is_misapplied, meant, plain_name
from ..rules.verdicts import Usage
from ..store.read import CommonName
from .lists import backbone_names, classification_of


@dataclass(frozen=True, slots=True)
class NamesOfTaxon:
    """``history`` is the house's, oldest first; the rest is the current release's."""

    history: list[TaxonName]
    synonyms: list[Usage]
    common_names: list[CommonName]


def names_of(taxon: Taxon) -> NamesOfTaxon:
    """A constant number of queries."""
    history = list(taxon.names.select_related("release", "decided_by"))
    store = backbone_names()
    if store is None:
        return NamesOfTaxon(history, [], [])
    name = plain_name(taxon.scientific_name)
    target = meant(store.named({name}).get(name, []), classification_of(taxon))
    if target is None:
        return NamesOfTaxon(history, [], [])
    synonyms = store.synonyms_of({target.taxon_id}).get(target.taxon_id, [])
    common = store.common_names_of({target.taxon_id}).get(target.taxon_id, [])
    return NamesOfTaxon(history, [one for one in synonyms if not is_misapplied(one)], common)
