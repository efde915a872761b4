from .alarms import Alarm
from .bodies import Body, Kept, Part
from .doubles import DoubleDecision
from .entries import Entry, Outcome
from .open_names import OpenLot

__all__ = ["Alarm", "Body", "DoubleDecision", "Entry", "Kept", "OpenLot", "Outcome", "Part"]
