"""What is open in a place, and that it is shut."""

from datetime import date
from typing import Any

from django import forms

from .models import Place, WayOut


class NoteWayOutForm(forms.Form):
    """In words, and since when."""

    what = forms.CharField(
        max_length=120,
        label="What is open",
        help_text="In a few words: overflow without a screen, drain open, lid off, gap behind the rock work.",
    )
    since = forms.DateField(label="Open since", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))

    def __init__(self, data: Any = None, *, today: date) -> None:
        super().__init__(data, initial={"since": today}, prefix="note")


class ShutWayOutForm(forms.Form):
    """Which one, and the last day on which it was open."""

    way_out = forms.ModelChoiceField(queryset=WayOut.objects.none(), label="Shut now", empty_label=None)
    until = forms.DateField(label="Open to", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))

    def __init__(self, data: Any = None, *, place: Place, today: date) -> None:
        super().__init__(data, initial={"until": today}, prefix="shut")
        still_open = WayOut.objects.filter(place=place, until=None)
        self.fields["way_out"].queryset = still_open  # type: ignore[attr-defined]
