from .approvals import ApprovalAnswer, ApprovalAsked
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
from .checks import Draw, DrawnLine, SampleResult, SignedWithoutSample, SpotCount
from .comparisons import FirstCompared
from .counts import Count, Recount, Sighting
from .decisions import Decision
from .devices import CameBackAnswer, CountEntry
from .posted import NoticePost
from .scans import Scan
from .sheets import Line, Sheet
from .to_come import CountToCome

__all__ = [
    "ApprovalAnswer",
    "ApprovalAsked",
    "CameBackAnswer",
    "Census",
    "Count",
    "CountEntry",
    "CountToCome",
    "Decision",
    "Draw",
    "DrawnLine",
    "FirstCompared",
    "Line",
    "LinePicture",
    "NoSecondName",
    "Notice",
    "NoticePost",
    "QuietMove",
    "Recount",
    "Restatement",
    "Retyping",
    "SampleResult",
    "Scan",
    "Sheet",
    "Sighting",
    "SignedWithoutSample",
    "SpotCount",
    "WriteInFinding",
]
