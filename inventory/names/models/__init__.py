from .backbone import BackboneRelease, RangeCaution
from .checks import CheckState, DecisionKind, NameCheck, NameDecision
from .online import OnlineLookup, OnlinePause, OnlineRequest
from .taxon import CountClass, Taxon, TaxonName

__all__ = [
    "BackboneRelease",
    "CheckState",
    "CountClass",
    "DecisionKind",
    "NameCheck",
    "NameDecision",
    "OnlineLookup",
    "OnlinePause",
    "OnlineRequest",
    "RangeCaution",
    "Taxon",
    "TaxonName",
]
