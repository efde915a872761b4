"""Forms of the tank side's pages."""

from django import forms

from inventory.book.rules.found_as import FoundAs

from .actions.unlisted import Said
from .models import Kept, Part


class BodyForm(forms.Form):
    """What became of a body."""

    kept = forms.ChoiceField(choices=Kept.choices, label="Where it is")
    bag = forms.CharField(max_length=40, required=False, label="Number of the bag")
    part = forms.ChoiceField(choices=Part.choices, label="How much of it")


class CauseForm(forms.Form):
    """Of what an animal died, as it was found afterwards."""

    cause = forms.CharField(
        max_length=120,
        label="Cause, as it was found",
        widget=forms.TextInput({"list": "causes", "autocomplete": "off"}),
    )
    how = forms.CharField(
        max_length=200,
        required=False,
        label="By what",
        help_text="such as necropsy, or the laboratory and its number",
    )


class FindingForm(forms.Form):
    """What an animal on no list is. ``instead_of``: the answer that was on the page; blank: none was."""

    instead_of = forms.IntegerField(required=False, widget=forms.HiddenInput)
    found_as = forms.ChoiceField(
        choices=[("", "choose"), *((one.value, one.words) for one in FoundAs)], label="It is"
    )
    name = forms.CharField(
        max_length=200, label="Name", widget=forms.TextInput({"list": "names", "autocomplete": "off"})
    )
    note = forms.CharField(max_length=300, label="How you know, and what was done")

    def said(self) -> Said:
        """The answer as it was typed, once it is valid."""
        cleaned = self.cleaned_data
        return Said(FoundAs(cleaned["found_as"]), cleaned["name"], cleaned["note"])
