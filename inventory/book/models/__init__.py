from .accounts import Account, Place, PlaceKind, Water
from .cells import Cell, Sex, Standing
from .events import Event, Flow
from .flags import Flag
from .lots import Lot, LotKind
from .periods import Period, PeriodBalance, PeriodVersion

__all__ = [
    "Account",
    "Cell",
    "Event",
    "Flag",
    "Flow",
    "Lot",
    "LotKind",
    "Period",
    "PeriodBalance",
    "PeriodVersion",
    "Place",
    "PlaceKind",
    "Sex",
    "Standing",
    "Water",
]
