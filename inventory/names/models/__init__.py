from .adoption import AdoptedChange, MovedLot, ReleaseAdoption
from .backbone import BackboneRelease, RangeCaution
from .checks import CheckState, DecisionKind, NameCheck, NameDecision
from .online import OnlineLookup, OnlinePause, OnlineRequest
from .taxon import CountClass, Taxon, TaxonName

__all__ = [
    "AdoptedChange",
    "BackboneRelease",
    "CheckState",
    "CountClass",
    "DecisionKind",
    "MovedLot",
    "NameCheck",
    "NameDecision",
    "OnlineLookup",
    "OnlinePause",
    "OnlineRequest",
    "RangeCaution",
    "ReleaseAdoption",
    "Taxon",
    "TaxonName",
]
