from .alarms import Alarm
from .bodies import HELD, Body, Kept, Part
from .causes import FoundCause
from .doubles import DoubleDecision
from .entries import Entry, Outcome, SetAside
from .entry_pictures import EntryPicture
from .open_names import OpenLot
from .pictures import Picture
from .posted import FindingPost, Posted
from .quarantine import QuarantineRule, StayWord
from .readings import Reading, WantedRange
from .unlisted import FindingSeen, UnlistedFinding

__all__ = [
    "HELD",
    "Alarm",
    "Body",
    "DoubleDecision",
    "Entry",
    "EntryPicture",
    "FindingPost",
    "FindingSeen",
    "FoundCause",
    "Kept",
    "OpenLot",
    "Outcome",
    "Part",
    "Picture",
    "Posted",
    "QuarantineRule",
    "Reading",
    "SetAside",
    "StayWord",
    "UnlistedFinding",
    "WantedRange",
]
