"""Forms of the census: a blind sheet, a decision, a recount, a new census."""

from .counting import WRITE_INS, CountSheetForm, LineBoxes
from .deciding import DecisionForm, WayForm, way_form, way_forms
from .proposals import ProposalForm
from .steps import (
    AbandonForm,
    AddSheetForm,
    IssueForm,
    NoSecondForm,
    NoteForm,
    NumberForm,
    OpenCensusForm,
    RecountForm,
    ReplaceForm,
    SignForm,
)

__all__ = [
    "WRITE_INS",
    "AbandonForm",
    "AddSheetForm",
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
    "ReplaceForm",
    "SignForm",
    "WayForm",
    "way_form",
    "way_forms",
]
