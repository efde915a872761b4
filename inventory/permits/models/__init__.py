from .cases import Case, CaseKind, CaseNote
from .loans import Direction, Loan, LoanConfirmation, LoanExtension, LoanLot
from .permits import (
    Authority,
    LineLink,
    LinkMember,
    Per,
    Permit,
    PermitDocument,
    PermitLine,
    PermitPerson,
    PermitVersion,
    Scope,
    VersionKind,
)
from .takes import Take, TakeEvent, Trip, TripPerson

__all__ = [
    "Authority",
    "Case",
    "CaseKind",
    "CaseNote",
    "Direction",
    "LineLink",
    "LinkMember",
    "Loan",
    "LoanConfirmation",
    "LoanExtension",
    "LoanLot",
    "Per",
    "Permit",
    "PermitDocument",
    "PermitLine",
    "PermitPerson",
    "PermitVersion",
    "Scope",
    "Take",
    "TakeEvent",
    "Trip",
    "TripPerson",
    "VersionKind",
]
