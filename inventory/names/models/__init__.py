from .adoption import AdoptedChange, MovedLot, ReleaseAdoption
from .backbone import BackboneRelease, RangeCaution
from .checks import CheckState, DecisionKind, NameCheck, NameDecision
from .listings import ListEntry, NameList
from .online import OnlineLookup, OnlinePause, OnlineRequest
from .taxon import CountClass, Taxon, TaxonName

__all__ = [
    "AdoptedChange",
    "BackboneRelease",
    "CheckState",
    "CountClass",
    "DecisionKind",
    "ListEntry",
    "MovedLot",
    "NameCheck",
    "NameDecision",
    "NameList",
    "OnlineLookup",
    "OnlinePause",
    "OnlineRequest",
    "RangeCaution",
    "ReleaseAdoption",
    "Taxon",
    "TaxonName",
]
