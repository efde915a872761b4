"""Agreements, letters, extensions."""

from collections.abc import Sequence
from typing import Any

from django import forms

from inventory.book.models import LotKind
from inventory.book.rules.drafts import Numbers
from inventory.book.rules.happened import Happened

from ..actions.loans import DeathTold, LoanFacts
from ..models import Direction
from ..queries.loans import LotOnLoan
from ..rules.sheets import part, several
from .parts import DayField, ReadField


class LoanForm(forms.Form):
    """One agreement."""

    reference = forms.CharField(max_length=40, label="Number of the agreement")
    direction = forms.ChoiceField(choices=Direction.choices, label="Which way")
    party = forms.CharField(max_length=120, label="The other house")
    agreement = forms.CharField(required=False, max_length=300, label="What is lent, in its own words")
    starts_on = DayField(label="From")
    until = DayField(required=False, label="Until, last day")
    confirm_every_months = forms.IntegerField(
        required=False, min_value=1, max_value=120, label="Confirmed by letter every so many months"
    )
    young_words = forms.CharField(required=False, max_length=200, label="Young, in the agreement's words")
    lender_part = ReadField(
        read=part, empty=part("0"), label="Lender's part of the young", help_text="1/2, 0 for none, 1 for all"
    )
    young_from_day = forms.IntegerField(
        min_value=0, max_value=1000, initial=30, label="Young are shared on day"
    )
    lots = ReadField(read=several, empty=(), label="Lots", help_text="Accession numbers, joined with |")

    def facts(self) -> LoanFacts:
        """The agreement as it was written."""
        return LoanFacts(**self.cleaned_data)


class LetterForm(forms.Form):
    """A letter of the other house, with a death that it tells of, if any."""

    letter_of = DayField(label="Letter of")
    words = forms.CharField(required=False, label="What it says", widget=forms.Textarea({"rows": 3}))
    file = forms.FileField(required=False, label="The letter (PDF, picture)")
    lot = forms.ChoiceField(required=False, label="Died")
    died_on = DayField(required=False, label="Day of death")
    number = forms.IntegerField(required=False, min_value=1, label="How many")
    sex = forms.ChoiceField(
        required=False,
        label="Sex",
        choices=[("unknown", "as recorded"), ("males", "males"), ("females", "females")],
    )
    cause = forms.CharField(required=False, max_length=120, label="Cause, if told")

    def __init__(self, *args: Any, lots: Sequence[LotOnLoan], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lot = self.fields["lot"]
        assert isinstance(lot, forms.ChoiceField)
        lot.choices = [("", "nobody"), *((one.row.lot.accession, _which(one)) for one in lots)]
        self.sexes = {one.row.lot.accession: one.held for one in lots}

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        if said.get("lot") and not said.get("died_on"):
            self.add_error("died_on", "Say the day of death, as the letter tells it.")
        if said.get("died_on") and not said.get("lot"):
            self.add_error("lot", "Say which animals died.")
        return said

    def deaths(self) -> list[DeathTold]:
        """The death that the letter tells of; an animal recorded by itself has its own sex."""
        said = self.cleaned_data
        if not said.get("lot"):
            return []
        n = said["number"] or 1
        day = said["died_on"]
        held = self.sexes[said["lot"]]
        column = said["sex"] or "unknown"
        if column == "unknown":
            known = [name for name in ("males", "females", "hermaphrodites") if getattr(held, name)]
            column = known[0] if len(known) == 1 and not held.unknown else "unknown"
        return [DeathTold(said["lot"], Happened(day, day), Numbers(**{column: n}), said["cause"])]


class ExtendForm(forms.Form):
    """A later last day."""

    until = DayField(label="Goes on until")
    why = forms.CharField(required=False, max_length=300, label="By what letter")


class YoungForm(forms.Form):
    """Young to put under the agreement."""

    lot = forms.CharField(max_length=40, label="Lot of the young")
    born_on = DayField(label="Born on")


class DivideForm(forms.Form):
    """The lender's part of some young, to be put into a lot of its own."""

    lot = forms.ChoiceField(label="Of the young in")
    males = forms.IntegerField(required=False, min_value=0, label="Males")
    females = forms.IntegerField(required=False, min_value=0, label="Females")
    unknown = forms.IntegerField(required=False, min_value=0, label="Sex not known")

    def __init__(self, *args: Any, young: Sequence[LotOnLoan], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lot = self.fields["lot"]
        assert isinstance(lot, forms.ChoiceField)
        # What the other house owns already is not divided again.
        mine = [one for one in young if len(one.places) == 1 and one.row.lot.owner != one.row.loan.party]
        lot.choices = [(one.row.lot.accession, _told(one)) for one in mine]
        self.young = {one.row.lot.accession: one for one in young}

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        if not self.errors and not self.numbers().total:
            self.add_error("unknown", "Say how many.")
        return said

    def numbers(self) -> Numbers:
        """How many, by sex."""
        said = self.cleaned_data
        return Numbers(said.get("males") or 0, said.get("females") or 0, 0, said.get("unknown") or 0)


def _which(one: LotOnLoan) -> str:
    """Enough to tell one ray from the next: house name, kind, and its sex where it is one animal's."""
    lot = one.row.lot
    parts = [lot.accession, f"“{lot.house_name}”" if lot.house_name else "", lot.taxon.scientific_name]
    if lot.kind == LotKind.INDIVIDUAL and not one.hidden:
        sexes = [name for name in ("male", "female", "hermaphrodite") if getattr(one.held, f"{name}s")]
        parts += sexes or ([] if one.held.total else ["not there any more"])
    return ", ".join(part for part in parts if part)


def _told(one: LotOnLoan) -> str:
    return f"{one.row.lot.accession}, born {one.row.born_on}"


class EndForm(forms.Form):
    """Nothing is left of the loan."""

    on = DayField(label="Ended on")
