"""Small forms of the registrar's and the curator's steps."""

from django import forms

from inventory.book.models import Place, PlaceKind
from inventory.book.rules.periods import code_of
from inventory.people.models import Person

from ..rules.who import COUNTERS
from ..rules.words import SheetState

_PEOPLE = Person.objects.filter(left_on=None, user__isnull=False)
# Nobody who could not write on the sheet is named for one.
_WHO_COUNT = _PEOPLE.filter(user__groups__name__in=[role.value for role in COUNTERS]).distinct()

CLASSES = {
    "A": "exact",
    "B": "countable",
    "C": "many",
    "D": "presence only, once a year",
}


class IssueForm(forms.Form):
    """Who gets the sheet, and when it is to be counted."""

    counters = forms.ModelMultipleChoiceField(_WHO_COUNT, required=False, label="Counters")
    planned_at = forms.DateTimeField(
        required=False,
        label="To be counted at",
        help_text="Its numbers are hidden from its counters from the quiet time on; blank: from now on.",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )


class ReplaceForm(forms.Form):
    """Why a sheet is worth nothing any more, and another one takes its place."""

    state = forms.ChoiceField(
        label="The sheet",
        choices=[
            (SheetState.VOID.value, "is void: spoilt, or counted wrongly as a whole"),
            (SheetState.LOST.value, "is lost: the paper does not come back"),
        ],
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        max_length=300,
        label="What happened to it",
        help_text="A new sheet with the same list and another number takes its place and is issued anew. "
        "What was counted on the old one stays readable and counts no more.",
    )


class RecountForm(forms.Form):
    """Who counts again. The reason is not told to the counter."""

    of = forms.ModelChoiceField(_WHO_COUNT, label="Ask a recount of")


class OpenCensusForm(forms.Form):
    """Which period is counted, and where."""

    period = forms.CharField(
        max_length=12,
        label="Period",
        help_text="A quarter or a year, such as 2026 Q4; one that the book does not have yet is made. The "
        "cut-off is the end of its last day, at which the book closes: counts before and after are rolled "
        "to it. No other day can be chosen: each count is compared with the book at its own moment, and what "
        "happened between another day and the end of the period would stand in no period, or in two.",
    )
    classes = forms.MultipleChoiceField(
        required=False,
        label="Classes",
        choices=[(one, f"{one}: {words}") for one, words in CLASSES.items()],
        initial=list(CLASSES),
        widget=forms.CheckboxSelectMultiple,
        help_text="None ticked counts all. What is left out stands on the board and beside the signature.",
    )
    keepers = forms.BooleanField(
        required=False,
        label="Name the keepers of each place as counters of its sheet",
        help_text="A suggestion, which may be changed until the sheet is issued; class A wants a second "
        "counter from another area, and the board says where there is none.",
    )
    places = forms.ModelMultipleChoiceField(
        Place.objects.exclude(kind=PlaceKind.FEED),
        label="Places, one sheet each",
        help_text="Ticked is what holds animals now. Places inside a place, and joined tanks, go on its "
        "sheet.",
        widget=forms.CheckboxSelectMultiple,
    )

    def clean_period(self) -> str:
        try:
            return code_of(self.cleaned_data["period"])
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error


class AddSheetForm(forms.Form):
    """A place that was left out when the census was opened."""

    place = forms.ModelChoiceField(
        Place.objects.exclude(kind=PlaceKind.FEED),
        to_field_name="code",
        widget=forms.HiddenInput,
    )


class AbandonForm(forms.Form):
    """Why a census is given up."""

    note = forms.CharField(
        max_length=300,
        label="Why it is given up",
        help_text="Nothing more is counted in it and nothing of it is signed. What was counted stays "
        "readable, and the period may be counted anew. It cannot be taken back.",
    )


class NoteForm(forms.Form):
    """A few words that stay with what is done."""

    note = forms.CharField(required=False, max_length=300, label="Note")


class SignForm(NoteForm):
    """What goes with a signature. ``without_sample`` is asked for where no sample test was drawn."""

    without_sample = forms.CharField(
        required=False,
        max_length=300,
        label="Why it is signed without a sample test",
        help_text="No sample was drawn. What stands here is kept with the signature.",
    )


class NumberForm(forms.Form):
    """A named number is changed."""

    name = forms.CharField(max_length=60, widget=forms.HiddenInput())
    value = forms.IntegerField(label="New value")
    why = forms.CharField(max_length=300, required=False, label="Why")


class NoSecondForm(forms.Form):
    """No second name is at hand, and why."""

    why = forms.CharField(max_length=300, label="Why no second person was at hand")
