"""What was told to an authority."""

from typing import Any

from django import forms

from ..actions.notices import SendingFacts
from ..rules.notices import Told
from .parts import DayField


class SendingForm(forms.Form):
    """A notice that went out, or the reason why none is needed."""

    told = forms.ChoiceField(choices=[(one.value, one.words) for one in Told], label="What became of it")
    n = forms.IntegerField(min_value=1, label="How many animals it tells of")
    sent_on = DayField(label="On")
    to = forms.CharField(required=False, max_length=200, label="To")
    how = forms.CharField(required=False, max_length=120, label="How", help_text="e-mail, letter, telephone")
    text = forms.CharField(required=False, label="The notice, as sent", widget=forms.Textarea({"rows": 16}))
    note = forms.CharField(required=False, max_length=300, label="Why none is needed, or a remark")
    file = forms.FileField(required=False, label="The letter or its receipt (PDF, picture)")

    def facts(self, **kept: Any) -> SendingFacts:
        """As it was written; ``kept`` is the document."""
        said = {name: value for name, value in self.cleaned_data.items() if name != "file"}
        return SendingFacts(**said | {"told": Told(said["told"])} | kept)
