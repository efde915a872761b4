"""Forms of the tank side's pages."""

from django import forms

from .models import Kept, Part


class BodyForm(forms.Form):
    """What became of a body."""

    kept = forms.ChoiceField(choices=Kept.choices, label="Where it is")
    bag = forms.CharField(max_length=40, required=False, label="Number of the bag")
    part = forms.ChoiceField(choices=Part.choices, label="How much of it")
