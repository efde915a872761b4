"""What people write on the book's pages, and how it becomes a draft for the ledger's writer."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from typing import Any
from uuid import uuid4

from django import forms
from django.utils import timezone

from .models import Lot, LotKind, Place
from .queries.lists import LivesHere, places_for_animals
from .rules.drafts import DraftLine, EventDraft, Numbers, Problem
from .rules.happened import Happened, parse_happened
from .rules.kinds import ARRIVALS, EventKind
from .rules.recording import CAUSES, NOT_KNOWN, STAGES, Recording

SEX_FIELDS = ("males", "females", "hermaphrodites", "unknown")


class FindLotsForm(forms.Form):
    """Looks for lots; every field may stay empty."""

    text = forms.CharField(required=False, label="Number or name", widget=forms.TextInput({"type": "search"}))
    kind = forms.ChoiceField(required=False, label="Kind", choices=[("", "all"), *LotKind.choices])
    place = forms.ChoiceField(required=False, label="Lives in")
    emptied = forms.BooleanField(required=False, label="also lots that hold nothing now")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer(self, "place", _places(Place.objects.order_by("code")), nothing="anywhere")


class RecordForm(forms.Form):
    """One event of one lot. Shows only what its kind asks for.

    ``identifier`` is made with the empty form: the same form sent twice is one event.
    """

    identifier = forms.UUIDField(widget=forms.HiddenInput)
    unknown = forms.IntegerField(min_value=0, required=False, label="Number, sex not stated")
    males = forms.IntegerField(min_value=0, required=False, label="Males")
    females = forms.IntegerField(min_value=0, required=False, label="Females")
    hermaphrodites = forms.IntegerField(min_value=0, required=False, label="Hermaphrodites")
    at_least = forms.IntegerField(min_value=0, required=False, label="At least")
    at_most = forms.IntegerField(min_value=0, required=False, label="At most")
    stage = forms.CharField(
        max_length=20, required=False, label="Life stage", widget=forms.TextInput({"list": "stages"})
    )
    place = forms.ChoiceField()
    to_place = forms.ChoiceField(label="To")
    day = forms.DateField(
        label="Day it happened", widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
    )
    # Sent along as it was offered: the hour of today is not to become that of an earlier day.
    time = forms.TimeField(
        required=False,
        label="Time, if known",
        widget=forms.TimeInput({"type": "time"}, format="%H:%M"),
        show_hidden_initial=True,
    )
    cause = forms.CharField(
        max_length=120, label="Cause", required=False, widget=forms.TextInput({"list": "causes"})
    )
    party = forms.CharField(max_length=120, label="From whom, or to whom", required=False)
    permit_number = forms.CharField(max_length=60, label="Permit number", required=False)
    note = forms.CharField(required=False, label="Note", max_length=2_000, widget=forms.Textarea({"rows": 2}))

    def __init__(
        self,
        data: Any = None,
        *,
        recording: Recording,
        lot: Lot,
        here: Sequence[LivesHere],
        now: datetime,
        filled_in: Mapping[str, str] | None = None,
    ) -> None:
        local = timezone.localtime(now)
        codes = list(dict.fromkeys(row.place_code for row in here))
        super().__init__(
            data,
            initial={
                "identifier": uuid4(),
                "day": local.date(),
                "time": local.time().replace(second=0, microsecond=0),
                "cause": NOT_KNOWN,
                "place": codes[0] if len(codes) == 1 else "",
            },
        )
        self.recording = recording
        self.lot = lot
        self.here = here
        self.sexed = any(row.mfu for row in here)
        self.causes = CAUSES
        self.stages = STAGES
        self._shape(codes)
        self._fill_in(filled_in or {})

    def _fill_in(self, values: Mapping[str, str]) -> None:
        """Offers what is known already; a day without its hour is offered without the hour of now."""
        if "day" in values:
            self.initial["time"] = None
        for name, value in values.items():
            if name in self.fields:
                with suppress(forms.ValidationError):
                    self.initial[name] = self.fields[name].clean(value)

    def _shape(self, codes: Sequence[str]) -> None:
        """Leaves out the fields that this kind of event, or this lot, does not ask for."""
        recording, lot = self.recording, self.lot
        if lot.kind == LotKind.INDIVIDUAL:
            for name in (*SEX_FIELDS, "stage"):
                del self.fields[name]
        elif not self.sexed:
            self.fields["unknown"].label = "Number"
        if not recording.to_place:
            del self.fields["to_place"]
        if not recording.cause:
            del self.fields["cause"]
        if not recording.ranged:
            del self.fields["at_least"], self.fields["at_most"]
        if not recording.papers:
            del self.fields["party"], self.fields["permit_number"]
        places = list(places_for_animals())
        first = [place for place in places if place.code in codes]
        others = [place for place in places if place.code not in codes]
        grouped: list[Any] = [
            ("", "choose"),
            ("It lives here now", _places(first)),
            ("Other places", _places(others)),
        ]
        self.fields["place"].label = recording.place
        self.fields["place"].choices = grouped if first else [("", "choose"), *_places(others)]  # type: ignore[attr-defined]
        if recording.to_place:
            self.fields["to_place"].choices = [("", "choose"), *_places(places)]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        stated = any(cleaned.get(name) or self.has_error(name) for name in SEX_FIELDS)
        if "unknown" in self.fields and not stated:
            self.add_error("unknown", "Say how many.")
        if cleaned.get("to_place") and cleaned["to_place"] == cleaned.get("place"):
            self.add_error("to_place", "This is where they are already; choose another place.")
        if cleaned.get("day") != self.initial["day"] and "time" not in self.changed_data:
            cleaned["time"] = None
        return cleaned

    def draft(self, *, entered_by: str) -> EventDraft:
        """What the form states. Only for a valid form."""
        said = self.cleaned_data
        line = DraftLine(
            lot=self.lot.accession,
            place=said["place"],
            numbers=self._numbers(),
            stage=said.get("stage", ""),
            to_place=said.get("to_place", ""),
        )
        return EventDraft(
            identifier=said["identifier"],
            kind=self.recording.kind,
            happened=self._happened(),
            entered_by=entered_by,
            lines=(line,),
            device="browser",
            party=said.get("party", ""),
            permit_number=said.get("permit_number", ""),
            cause=said.get("cause", ""),
            note=said["note"],
            at_least=said.get("at_least"),
            at_most=said.get("at_most"),
        )

    def add_problems(self, problems: Sequence[Problem]) -> None:
        """Shows what the ledger refused beside the field it is about."""
        fields = {"numbers": "unknown", "happened": "day", "entered": "day"}
        for problem in problems:
            name = fields.get(problem.column, problem.column)
            self.add_error(name if name in self.fields else None, _sentence(problem.message))

    def _numbers(self) -> Numbers:
        if self.lot.kind == LotKind.INDIVIDUAL:
            return self._one()
        return Numbers(**{name: self.cleaned_data.get(name) or 0 for name in SEX_FIELDS})

    def _one(self) -> Numbers:
        """One animal, of the sex that the book has for it."""
        if self.recording.kind not in ARRIVALS:
            for row in self.here:
                for name in SEX_FIELDS:
                    if getattr(row, name) == 1:
                        return Numbers(**{name: 1})
        return Numbers(unknown=1)

    def _happened(self) -> Happened:
        day, time = self.cleaned_data["day"], self.cleaned_data.get("time")
        return parse_happened(f"{day:%Y-%m-%d}T{time:%H:%M}" if time else f"{day:%Y-%m-%d}")


class TakeBackForm(forms.Form):
    """Takes a whole event back, with the reason and, unless it is one's own fresh slip, an approver."""

    identifier = forms.UUIDField(widget=forms.HiddenInput)
    reason = forms.CharField(max_length=120, label="Why it is taken back")
    approved_by = forms.ChoiceField(label="Approved by")

    def __init__(self, data: Any = None, *, approvers: Sequence[str], own_slip: bool) -> None:
        super().__init__(data, initial={"identifier": uuid4()})
        if own_slip:
            del self.fields["approved_by"]
        else:
            _offer(self, "approved_by", [(name, name) for name in approvers])

    def draft(self, *, takes_back: Any, entered_by: str, now: datetime) -> EventDraft:
        """The reversal of the event with the identifier ``takes_back``. Only for a valid form."""
        # The day, not the minute: the same form sent twice must state the same.
        return EventDraft(
            identifier=self.cleaned_data["identifier"],
            kind=EventKind.REVERSED,
            happened=parse_happened(f"{timezone.localdate(now):%Y-%m-%d}"),
            entered_by=entered_by,
            reverses=takes_back,
            approved_by=self.cleaned_data.get("approved_by", ""),
            reason=self.cleaned_data["reason"],
            device="browser",
        )

    def add_problems(self, problems: Sequence[Problem]) -> None:
        """Shows what the ledger refused."""
        for problem in problems:
            name = problem.column if problem.column in self.fields else None
            self.add_error(name, _sentence(problem.message))


def _offer(form: forms.Form, name: str, choices: Sequence[Any], *, nothing: str = "choose") -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)
    field.choices = [("", nothing), *choices]


def _places(places: Iterable[Place]) -> list[tuple[str, str]]:
    return [(place.code, f"{place.code} {place.name}") for place in places]


def _sentence(message: str) -> str:
    message = message[:1].upper() + message[1:]
    return message if message.endswith(".") else f"{message}."
