from .accounts import Account, Place, PlaceKind, Water
from .cells import Cell, Sex, Standing
from .documents import Document
from .events import Event, Flow
from .flags import Flag
from .keeping import Keeping
from .lots import Lot, LotKind
from .periods import Period, PeriodBalance, PeriodVersion, VersionStatement
from .ranges import StatedRange
from .refused import RefusedAbout, RefusedEntry
from .revision import Revision
from .settings import Setting
from .ways_out import WayOut

__all__ = [
    "Account",
    "Cell",
    "Document",
    "Event",
    "Flag",
    "Flow",
    "Keeping",
    "Lot",
    "LotKind",
    "Period",
    "PeriodBalance",
    "PeriodVersion",
    "Place",
    "PlaceKind",
    "RefusedAbout",
    "RefusedEntry",
    "Revision",
    "Setting",
    "Sex",
    "Standing",
    "StatedRange",
    "VersionStatement",
    "Water",
    "WayOut",
]
