"""A marked animal that was seen."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, cast

from django import forms

from inventory.book.rules.happened import Happened

from ..models import Permit
from .parts import DayField


class SightingForm(forms.Form):
    """Which animal, known by what, where and when."""

    cell = forms.TypedChoiceField(label="Where", coerce=int)
    day = DayField(label="Day")
    time = forms.TimeField(
        required=False,
        label="Time, if known",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="Empty: from the beginning of the day, after what is dated by that day alone.",
    )
    permit = forms.ModelChoiceField(Permit.objects.none(), label="It came under the permit")
    line_number = forms.IntegerField(
        required=False, min_value=1, max_value=32_767, label="Line, if several are in the pool"
    )
    mark = forms.CharField(max_length=120, label="Known by", help_text="A tag, a clip, a scar, a picture.")
    n = forms.IntegerField(min_value=1, max_value=1_000_000, initial=1, label="How many")

    def __init__(
        self, *args: Any, cells: Sequence[tuple[int, str]], permits: Sequence[str], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.TypedChoiceField, self.fields["cell"]).choices = cells
        cast(Any, self.fields["permit"]).queryset = Permit.objects.filter(number__in=permits)

    @property
    def happened(self) -> Happened:
        """When, as it was written."""
        day, time = self.cleaned_data["day"], self.cleaned_data["time"]
        moment = datetime.combine(day, time) if time is not None else day
        return Happened(moment, moment)


class WithdrawForm(forms.Form):
    """It was none."""

    why = forms.CharField(max_length=300, label="Why it is withdrawn")
