"""What a written-in animal is found to be, and pictures of it."""

from typing import Any

from django import forms

from inventory.book.rules.found_as import FoundAs
from inventory.names.models import Taxon
from inventory.people.models import Person

from .deciding import against_names


class WrittenInForm(forms.Form):
    """The registrar's finding; only what belongs to the choice is filled in."""

    found_as = forms.ChoiceField(label="It is", choices=[(one.value, one.words) for one in FoundAs])
    taxon = forms.ModelChoiceField(
        Taxon.objects.filter(joined_into=None),
        required=False,
        label="Name in the house",
        help_text="Settled, came with something, introduced.",
    )
    accession = forms.CharField(
        required=False, max_length=40, label="Lot", help_text="One that is there already; blank: a new one."
    )
    other_line = forms.CharField(
        required=False,
        max_length=120,
        label="The other line",
        help_text="That has it under another name, or that it left: its number, or a place and a name.",
    )
    happened = forms.CharField(
        required=False, max_length=60, label="When it moved", help_text="YYYY-MM-DD, or START/END."
    )
    note = forms.CharField(required=False, max_length=300, label="Note")
    approved_by = forms.ModelChoiceField(
        Person.objects.filter(left_on=None, user__groups__name="curator"),
        required=False,
        label="Approved on paper by",
        help_text="Who signed by hand; the note says on which paper.",
    )
    ask = forms.BooleanField(
        required=False,
        label="Ask for approval",
        help_text="Nothing is posted until those whose names it needs have approved it themselves.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for name, problem in against_names(cleaned):
            self.add_error(name, problem)
        return cleaned


class PictureForm(forms.Form):
    """A picture of what was counted."""

    picture = forms.FileField(label="Picture", help_text="PNG, JPEG, HEIC or WebP.")


class SpotCountForm(forms.Form):
    """One count on the spot of a class A taxon in a place."""

    place = forms.IntegerField(widget=forms.HiddenInput())
    taxon = forms.IntegerField(widget=forms.HiddenInput())
    unit = forms.CharField(max_length=40, widget=forms.HiddenInput())
    value = forms.IntegerField(min_value=0, label="Counted")
    second = forms.ModelChoiceField(
        Person.objects.filter(left_on=None, user__isnull=False), required=False, label="Second counter"
    )
    note = forms.CharField(max_length=300, required=False, label="Note")
