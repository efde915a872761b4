from .backbone import BackboneRelease, RangeCaution
from .checks import CheckState, DecisionKind, NameCheck, NameDecision
from .taxon import CountClass, Taxon, TaxonName

__all__ = [
    "BackboneRelease",
    "CheckState",
    "CountClass",
    "DecisionKind",
    "NameCheck",
    "NameDecision",
    "RangeCaution",
    "Taxon",
    "TaxonName",
]
