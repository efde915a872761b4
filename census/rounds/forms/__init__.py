"""Forms of the census: a blind sheet, a decision, a recount, a new census."""

from .counting import WRITE_INS, CountSheetForm, LineBoxes
from .deciding import DecisionForm, WayForm, way_form, way_forms
from .proposals import ProposalForm
from .steps import (
    IssueForm,
    NoSecondForm,
    NoteForm,
    NumberForm,
    OpenCensusForm,
    RecountForm,
    SignForm,
)

__all__ = [
    "WRITE_INS",
    "CountSheetForm",
    "DecisionForm",
    "IssueForm",
    "LineBoxes",
    "NoSecondForm",
    "NoteForm",
    "NumberForm",
    "OpenCensusForm",
    "ProposalForm",
    "RecountForm",
    "SignForm",
    "WayForm",
    "way_form",
    "way_forms",
]
