"""A slip at the desk: the trip, and one row for each name on it."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from django import forms
from django.forms import BaseFormSet, formset_factory
from django.utils.functional import cached_property
from django.utils.html import format_html

from inventory.book.models.cells import Sex
from inventory.book.rules.happened import Happened
from inventory.people.models import Person

from ..actions.entries import TakeEntry, TripEntry
from ..models import Permit, Take, Trip
from ..who import KEEPS
from .parts import DayField, YesNoField, name_cells, people_choices, place_choices

_SEXES = [("", "not stated"), *Sex.choices]


class TripForm(forms.Form):
    """The head of a slip. ``identifier`` is made with the empty form: the same form twice is one trip."""

    identifier = forms.UUIDField(widget=forms.HiddenInput)
    day = DayField(label="Day")
    until = DayField(required=False, label="Last day, if several")
    people = forms.MultipleChoiceField(
        required=False, label="Who was on it", widget=forms.CheckboxSelectMultiple
    )
    locality = forms.CharField(required=False, max_length=200, label="Place in words")
    latitude = forms.DecimalField(
        required=False, min_value=-90, max_value=90, max_digits=9, decimal_places=6, label="Latitude",
        help_text="decimal degrees, south with a minus",
    )  # fmt: skip
    longitude = forms.DecimalField(
        required=False, min_value=-180, max_value=180, max_digits=9, decimal_places=6, label="Longitude",
        help_text="decimal degrees, west with a minus",
    )  # fmt: skip
    uncertainty_m = forms.IntegerField(required=False, min_value=0, label="Uncertain by, m")
    depth_from_m = forms.DecimalField(
        required=False, min_value=0, max_digits=6, decimal_places=1, label="Depth from, m"
    )
    depth_to_m = forms.DecimalField(
        required=False, min_value=0, max_digits=6, decimal_places=1, label="Depth to, m"
    )
    gear = forms.CharField(required=False, max_length=120, label="Gear, several with commas")
    vessel = forms.CharField(required=False, max_length=80, label="Boat")
    note = forms.CharField(required=False, label="Note", widget=forms.Textarea({"rows": 2}))

    def __init__(self, *args: Any, permit: Permit, named: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.permit = permit
        people = self.fields["people"]
        assert isinstance(people, forms.MultipleChoiceField)
        people.choices = people_choices(first=named)
        if named:
            # Django takes a help text for HTML.
            people.help_text = format_html("Those whom {} names stand first.", permit.number)

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        latitude, longitude = said.get("latitude"), said.get("longitude")
        if "latitude" in self.errors and not self.errors.get("longitude"):
            self.add_error("latitude", "Is it the longitude? The two may be swapped.")
        elif not self.errors and (latitude is None) != (longitude is None):
            self.add_error("longitude", "Give both latitude and longitude, or neither.")
        if said.get("until") and said.get("day") and said["until"] < said["day"]:
            self.add_error("until", "The last day lies before the first.")
        return said

    def entry(self) -> TripEntry:
        """The trip as it was written."""
        said = self.cleaned_data
        plain = (
            *("identifier", "people", "locality", "latitude", "longitude", "uncertainty_m"),
            *("depth_from_m", "depth_to_m", "gear", "vessel", "note"),
        )
        return TripEntry(
            permit=self.permit.number,
            happened=Happened(said["day"], said["until"] or said["day"]),
            **{name: said[name] for name in plain},
        )


class CorrectTripForm(TripForm):
    """A trip as it should have been written, and why it was not."""

    why = forms.CharField(max_length=300, label="Why it is corrected")


class TakeForm(forms.Form):
    """One row of a slip."""

    identifier = forms.UUIDField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(max_length=200, label="Name as written")
    caught = forms.IntegerField(min_value=0, label="Caught")
    let_go = forms.IntegerField(required=False, min_value=0, label="Let go")
    died = forms.IntegerField(required=False, min_value=0, label="Died before stock")
    kept = forms.IntegerField(required=False, min_value=0, label="Kept")
    place = forms.ChoiceField(required=False, label="Into")
    lot = forms.CharField(required=False, max_length=40, label="Lot, empty: a new one")
    individual = forms.BooleanField(required=False, label="By itself")
    unit = forms.CharField(
        required=False, max_length=40, label="Unit", widget=forms.TextInput({"placeholder": "animal"})
    )
    into_stock = forms.IntegerField(required=False, min_value=1, label="Into stock, if another unit")
    permit = forms.ChoiceField(required=False, label="Other permit")
    sex = forms.ChoiceField(required=False, choices=_SEXES, label="Sex")
    stage = forms.CharField(required=False, max_length=20, label="Stage")
    size_mm = forms.IntegerField(required=False, min_value=1, label="Size, mm")
    berried = YesNoField(label="With eggs", unsaid="not said", yes="yes", no="no")
    bycatch = forms.BooleanField(required=False, label="By-catch")
    remarks = forms.CharField(required=False, max_length=500, label="Remarks")

    def __init__(
        self,
        *args: Any,
        places: Sequence[tuple[str, str]] | None = None,
        permits: Sequence[str] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        _offer(self.fields["place"], place_choices() if places is None else places)
        _offer(self.fields["permit"], [("", "that of the trip"), *((number, number) for number in permits)])

    @cached_property
    def changed_data(self) -> list[str]:
        """What was written; the hidden identifier alone makes no row."""
        return [name for name in super().changed_data if name != "identifier"]

    def entry(self) -> TakeEntry:
        """The row as it was written."""
        said = dict(self.cleaned_data)
        for number in ("let_go", "died", "kept"):
            said[number] = said[number] or 0
        said["identifier"] = said["identifier"] or uuid4()
        return TakeEntry(**said)


def _offer(field: forms.Field, choices: Sequence[tuple[str, str]]) -> None:
    assert isinstance(field, forms.ChoiceField)
    field.choices = choices


if TYPE_CHECKING:
    _Rows = BaseFormSet[TakeForm]
else:
    _Rows = BaseFormSet


class TakeRows(_Rows):
    """The rows of a slip; those left empty are left out."""

    def add_fields(self, form: TakeForm, index: int | None) -> None:
        super().add_fields(form, index)
        form.fields["identifier"].initial = uuid4()
        form.fields["identifier"].show_hidden_initial = False
        if index is not None:
            name_cells(form, index + 1)

    @property
    def filled(self) -> list[TakeForm]:
        """The rows that say something."""
        return [form for form in self.forms if form.is_bound and form.has_changed()]

    def entries(self) -> list[TakeEntry]:
        """The rows as they were written, in their order."""
        return [form.entry() for form in self.filled]


_Takes = formset_factory(TakeForm, formset=TakeRows, extra=6)


def take_rows(data: Any, *, permits: Sequence[str]) -> TakeRows:
    """The rows of a slip; ``permits`` are those that a row may name instead of the trip's."""
    rows = _Takes(data, prefix="take", form_kwargs={"places": place_choices(), "permits": permits})
    assert isinstance(rows, TakeRows)
    return rows


class CorrectForm(TakeForm):
    """A take as it should have been written, and why it was not."""

    why = forms.CharField(max_length=300, label="Why it is corrected")


class MoveForm(forms.Form):
    """Another permit for a take."""

    to = forms.ModelChoiceField(Permit.objects.all(), label="To the permit")
    why = forms.CharField(max_length=300, label="Why it is moved")
    approved_by = forms.ChoiceField(required=False, label="Approved by")

    def __init__(self, *args: Any, take: Take, approvers: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        to = self.fields["to"]
        assert isinstance(to, forms.ModelChoiceField)
        to.empty_label = "choose"
        to.queryset = Permit.objects.exclude(pk=take.permit_id)
        _offer(self.fields["approved_by"], [("", "nobody"), *((name, name) for name in approvers)])


class CaseForm(forms.Form):
    """A line in the history of a case."""

    words = forms.CharField(label="What was found or done", widget=forms.Textarea({"rows": 3}))
    # Who cannot write in a case cannot settle it either.
    owner = forms.ModelChoiceField(
        Person.objects.filter(left_on=None, user__groups__name__in=[role.value for role in KEEPS]).distinct(),
        required=False,
        label="Give it to",
        empty_label="nobody else",
    )
    close = forms.BooleanField(required=False, label="This settles it")


def correct_initial(take: Take, place: str) -> dict[str, Any]:
    """A take as it stands, for the form that corrects it."""
    plain = (
        *("caught", "let_go", "died", "kept", "unit", "into_stock", "sex", "stage", "size_mm", "berried"),
        *("bycatch", "remarks"),
    )
    return {name: getattr(take, name) for name in plain} | {
        "identifier": uuid4(),
        "name": take.verbatim_identification,
        "lot": take.lot.accession if take.lot else "",
        "place": place,
    }


def trip_initial(trip: Trip, people: Sequence[str]) -> dict[str, Any]:
    """A trip as it stands, for the form that corrects it."""
    plain = (
        *("locality", "latitude", "longitude", "uncertainty_m", "depth_from_m", "depth_to_m", "gear"),
        *("vessel", "note"),
    )
    until = trip.ends_on if trip.ends_on != trip.starts_on else None
    return {name: getattr(trip, name) for name in plain} | {
        "identifier": uuid4(),
        "day": trip.starts_on,
        "until": until,
        "people": list(people),
    }
