"""What is done about an entry that came back."""

from django import forms

from ..rules.words import CameBackAs


class CameBackForm(forms.Form):
    """One entry, what is done about it, and why."""

    entry = forms.IntegerField(widget=forms.HiddenInput())
    outcome = forms.ChoiceField(choices=[(one.value, one.words) for one in CameBackAs])
    why = forms.CharField(max_length=300)
