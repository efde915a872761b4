from .alarms import Alarm
from .bodies import Body, Kept, Part
from .doubles import DoubleDecision
from .entries import Entry, Outcome, SetAside
from .open_names import OpenLot
from .quarantine import QuarantineRule, StayWord
from .readings import Reading, WantedRange

__all__ = [
    "Alarm",
    "Body",
    "DoubleDecision",
    "Entry",
    "Kept",
    "OpenLot",
    "Outcome",
    "SetAside",
    "Part",
    "QuarantineRule",
    "Reading",
    "StayWord",
    "WantedRange",
]
