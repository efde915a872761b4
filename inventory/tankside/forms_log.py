"""A reading of the water, the range wanted, and the period that the log shows."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.utils import timezone

from .rules.readings import FAHRENHEIT, QUANTITIES, NotAReading, Quantity, Unit, checked

PERIODS = ((7, "7 days"), (30, "30 days"), (90, "90 days"), (365, "a year"))


def measures(temperature: str) -> list[tuple[str, str]]:
    """Every quantity in every unit, the house's temperature first."""
    found = [
        (f"{quantity.code} {unit.code}", _words(quantity, unit))
        for quantity in QUANTITIES
        for unit in quantity.units
    ]
    if temperature == FAHRENHEIT:
        found[0], found[1] = found[1], found[0]
    return found


def _words(quantity: Quantity, unit: Unit) -> str:
    """ "Temperature, °C", "Salinity, practical", "pH"."""
    if unit.symbol:
        return f"{quantity.words}, {unit.symbol}"
    return f"{quantity.words}, practical" if len(quantity.units) > 1 else quantity.words


class MeasureForm(forms.Form):
    """What both forms share: quantity and unit in one choice, so that they always fit."""

    measure = forms.ChoiceField(label="What")

    def __init__(self, data: Any = None, *, temperature: str, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.fields["measure"].choices = measures(temperature)  # type: ignore[attr-defined]

    @property
    def measured(self) -> tuple[str, str]:
        """Quantity and unit of a valid form."""
        quantity, _, unit = self.cleaned_data["measure"].partition(" ")
        return quantity, unit

    def number(self, name: str) -> Decimal | None:
        """The field as a number of the measure, or a problem beside it."""
        text = self.cleaned_data.get(name) or ""
        if not text or "measure" not in self.cleaned_data:
            return None
        quantity, unit = self.measured
        try:
            return checked(quantity, text, unit)
        except NotAReading as wrong:
            self.add_error(name, str(wrong)[0].upper() + str(wrong)[1:] + ".")
        return None


class ReadingForm(MeasureForm):
    """One reading. ``identifier`` is made with the empty form: the same form sent twice is one reading."""

    identifier = forms.UUIDField(widget=forms.HiddenInput)
    replaces = forms.UUIDField(required=False, widget=forms.HiddenInput)
    value = forms.CharField(max_length=20, widget=forms.TextInput({"inputmode": "decimal"}), label="Value")
    day = forms.DateField(label="Day", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))
    time = forms.TimeField(label="Time", widget=forms.TimeInput({"type": "time"}, format="%H:%M"))
    note = forms.CharField(max_length=500, required=False, label="Note")

    def __init__(self, data: Any = None, *, temperature: str, now: datetime, replaces: Any = None) -> None:
        local = timezone.localtime(now)
        initial: dict[str, Any] = {
            "identifier": uuid4(),
            "day": local.date(),
            "time": local.time().replace(second=0, microsecond=0),
        }
        if replaces is not None:
            taken = timezone.localtime(replaces.taken_at)
            initial |= {
                "replaces": replaces.identifier,
                "measure": f"{replaces.quantity} {replaces.unit}",
                "day": taken.date(),
                "time": taken.time().replace(second=0, microsecond=0),
            }
        super().__init__(data, temperature=temperature, initial=initial)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        cleaned["number"] = self.number("value")
        return cleaned

    @property
    def taken_at(self) -> datetime:
        """The minute that was stated, aware. Only for a valid form."""
        said = self.cleaned_data
        return datetime.combine(said["day"], said["time"], timezone.get_current_timezone())


class WantedForm(MeasureForm):
    """The range that is wanted from a day on; an empty bound is open, two empty ones are no range."""

    low = forms.CharField(
        max_length=20, required=False, widget=forms.TextInput({"inputmode": "decimal"}), label="Not below"
    )
    high = forms.CharField(
        max_length=20, required=False, widget=forms.TextInput({"inputmode": "decimal"}), label="Not above"
    )
    since = forms.DateField(label="From", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))

    def __init__(self, data: Any = None, *, temperature: str, today: date) -> None:
        super().__init__(data, temperature=temperature, initial={"since": today})

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        low, high = self.number("low"), self.number("high")
        if low is not None and high is not None and low > high:
            self.add_error("high", "This is less than the lower bound; expected more.")
        return {**cleaned, "lowest": low, "highest": high}


class PeriodForm(forms.Form):
    """The days that the log shows: the last so many, or from one day to another, both inside."""

    days = forms.ChoiceField(
        choices=[*PERIODS, ("", "days as given")], required=False, initial=30, label="The last"
    )
    first = forms.DateField(
        required=False, label="or from", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )
    last = forms.DateField(
        required=False, label="to", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, last = cleaned.get("first"), cleaned.get("last")
        if first and last and last < first:
            self.add_error("last", "This is before the first day.")
        return cleaned

    def bounds(self, now: datetime) -> tuple[datetime, datetime]:
        """The first moment, and the first after the period. What is wrong counts as not stated."""
        zone = timezone.get_current_timezone()
        said = getattr(self, "cleaned_data", {})
        today = timezone.localdate(now)
        last = said.get("last") or today
        first = said.get("first") or last - timedelta(days=int(said.get("days") or 30) - 1)
        first = min(first, last)
        return (
            datetime.combine(first, time(), zone),
            datetime.combine(last + timedelta(days=1), time(), zone),
        )
