"""What is said of a stay in quarantine or hospital, and the least days of a group."""

from datetime import date
from typing import Any

from django import forms


class StayForm(forms.Form):
    """One word on a stay: an end is expected, it is released, or that it left early was looked at."""

    stay = forms.RegexField(r"^\d{1,18}-\d{1,18}$")
    words = forms.CharField(max_length=500)

    @property
    def ends(self) -> tuple[int, int]:
        """Ids of the lot and of the place. Only for a valid form."""
        lot, _, place = self.cleaned_data["stay"].partition("-")
        return int(lot), int(place)


class ExpectForm(StayForm):
    ends_on = forms.DateField()


class EarlyForm(StayForm):
    event = forms.IntegerField()


class LeastDaysForm(forms.Form):
    """The least days of a group of animals from a day on."""

    group = forms.CharField(
        max_length=100,
        required=False,
        label="Group",
        help_text="A name of the classification or a species, such as Elasmobranchii; empty: all others",
    )
    min_days = forms.IntegerField(min_value=0, max_value=1000, label="Least days")
    since = forms.DateField(label="From", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))
    source = forms.CharField(
        max_length=300, label="On what it rests", help_text="Your plan, an authority, or “common practice”"
    )

    def __init__(self, data: Any = None, *, today: date) -> None:
        super().__init__(data, initial={"since": today})
