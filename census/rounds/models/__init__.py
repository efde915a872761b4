from .beside import (
    LinePicture,
    NoSecondName,
    Notice,
    QuietMove,
    Restatement,
    Retyping,
    WriteInFinding,
)
from .census import Census
from .checks import Draw, DrawnLine, SampleResult, SpotCount
from .counts import Count, Recount, Sighting
from .decisions import Decision
from .devices import CountEntry
from .scans import Scan
from .sheets import Line, Sheet

__all__ = [
    "Census",
    "Count",
    "CountEntry",
    "Decision",
    "Draw",
    "DrawnLine",
    "Line",
    "LinePicture",
    "NoSecondName",
    "Notice",
    "QuietMove",
    "Recount",
    "Restatement",
    "Retyping",
    "SampleResult",
    "Scan",
    "Sheet",
    "Sighting",
    "SpotCount",
    "WriteInFinding",
]
