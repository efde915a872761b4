from .backbone import BackboneRelease, NameUsage, RangeCaution, VernacularName
from .checks import CheckState, DecisionKind, NameCheck, NameDecision
from .taxon import CountClass, Taxon, TaxonName

__all__ = [
    "BackboneRelease",
    "CheckState",
    "CountClass",
    "DecisionKind",
    "NameCheck",
    "NameDecision",
    "NameUsage",
    "RangeCaution",
    "Taxon",
    "TaxonName",
    "VernacularName",
]
