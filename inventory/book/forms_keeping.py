"""Who keeps a place from a day on."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.db.models import Q

from inventory.people.models import Person


class KeepersForm(forms.Form):
    """Ticks the keepers; nobody ticked is nobody."""

    keepers = forms.ModelMultipleChoiceField(
        queryset=Person.objects.none(), required=False, widget=forms.CheckboxSelectMultiple, label="Kept by"
    )
    since = forms.DateField(label="From", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))

    def __init__(self, data: Any = None, *, today: date, current: Sequence[int]) -> None:
        super().__init__(data, initial={"since": today, "keepers": current})
        here = Q(left_on=None) | Q(left_on__gt=today)
        self.fields["keepers"].queryset = Person.objects.filter(here, user__isnull=False)  # type: ignore[attr-defined]
