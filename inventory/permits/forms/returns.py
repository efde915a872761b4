"""Which return, what is said with it, how it went out, and the forms that authorities ask for."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms

from ..models import Authority, PermitReturn, ReturnRule, TemplateVersion
from ..queries.returns import Asked, newest_version, templates_of
from ..rules.due import DueKind, day_of
from ..rules.statements import Chosen, columns_text
from .parts import DayField

_GRIDS = (
    ("", "exact places"),
    ("0.01", "rounded to 0.01 degree, about 1 km"),
    ("0.1", "rounded to 0.1 degree, about 11 km"),
    ("1", "rounded to 1 degree, about 110 km"),
)


class AskedForm(forms.Form):
    """The days, the day as of which fates are told, and the template. Sent by GET: a draft has an address."""

    starts_on = DayField(label="Takes from")
    ends_on = DayField(label="Takes to, last day")
    as_of = DayField(label="What became of them, at the end of")
    template = forms.ChoiceField(required=False, label="Form")

    def __init__(self, *args: Any, authority: Authority, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.versions = {str(t.pk): newest_version(t) for t in templates_of(authority.pk)}
        template = self.fields["template"]
        assert isinstance(template, forms.ChoiceField)
        named = [(pk, version.template.name) for pk, version in self.versions.items()]
        template.choices = [("", "the plain form of the house"), *named]

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        if said.get("starts_on") and said.get("ends_on") and said["ends_on"] < said["starts_on"]:
            self.add_error("ends_on", "The last day is not before the first.")
        return said

    def asked(self, amends: PermitReturn | None) -> Asked:
        """The return as it was asked for."""
        said = self.cleaned_data
        version = self.versions.get(said["template"])
        return Asked(said["starts_on"], said["ends_on"], said["as_of"], version, amends)


def asked_initial(asked: Asked, versions: dict[str, TemplateVersion]) -> dict[str, Any]:
    """A return that is offered; where the authority has one form only, in that."""
    chosen = asked.template
    only = next(iter(versions)) if len(versions) == 1 else ""
    return {
        "starts_on": asked.starts_on,
        "ends_on": asked.ends_on,
        "as_of": asked.as_of,
        "template": str(chosen.template_id) if chosen else ("" if asked.amends else only),
    }


class FreezeForm(forms.Form):
    """What is said with a return. ``looked_at`` is the mark of the draft that stood on the page."""

    looked_at = forms.CharField(widget=forms.HiddenInput)
    explained = forms.CharField(
        required=False,
        label="What the authority is to know of what is missing",
        help_text="It stands in the head of every file. Needed while a check is not met.",
        widget=forms.Textarea({"rows": 3}),
    )
    remark = forms.CharField(
        required=False, label="Other words to the authority", widget=forms.Textarea({"rows": 2})
    )


class SendingForm(forms.Form):
    """A return went out."""

    sent_on = DayField(label="Sent on")
    how = forms.CharField(
        max_length=120, label="How", help_text="By e-mail, by post, on the authority's page"
    )
    to = forms.CharField(max_length=200, label="To whom")
    receipt = forms.FileField(required=False, label="Receipt (PDF, picture, text)")
    note = forms.CharField(required=False, max_length=300, label="Note")


class LookForm(forms.Form):
    """Nothing is to be amended, and why."""

    words = forms.CharField(max_length=300, label="Why it need not be amended")


class RuleForm(forms.Form):
    """When an authority wants its returns."""

    kind = forms.ChoiceField(label="Due", choices=[(kind.value, kind.words) for kind in DueKind])
    days = forms.IntegerField(required=False, min_value=0, max_value=730, label="Days after the permit ends")
    month_day = forms.CharField(required=False, max_length=5, label="Day of the next year, MM-DD")
    source = forms.CharField(required=False, max_length=300, label="Where the rule stands")

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        if said.get("kind") == DueKind.AFTER_EXPIRY and said.get("days") is None:
            self.add_error("days", "Say how many days after the permit ends.")
        if said.get("kind") == DueKind.EACH_YEAR:
            try:
                day_of(2001, said.get("month_day", ""))
            except ValueError as error:
                self.add_error("month_day", f"{str(error)[:1].upper()}{str(error)[1:]}.")
        return said


def rule_initial(newest: ReturnRule | None, authority: Authority) -> dict[str, Any]:
    """The rule as it stands."""
    if newest is None:
        return {"kind": DueKind.AFTER_EXPIRY.value, "days": authority.return_days}
    return {"kind": newest.kind, "days": newest.days, "month_day": newest.month_day, "source": newest.source}


class TemplateForm(forms.Form):
    """Which columns, in which order, under which headings."""

    name = forms.CharField(max_length=80, label="Name of the form")
    columns = forms.CharField(
        label="Columns",
        help_text="One a line, in their order: the column's code, and behind = the heading that the "
        "authority wants. The code alone keeps the heading of the list below.",
        widget=forms.Textarea({"rows": 16, "spellcheck": "false"}),
    )
    coarse_degrees = forms.ChoiceField(required=False, choices=_GRIDS, label="Places")
    why = forms.CharField(required=False, max_length=300, label="Why it is changed")

    def clean_coarse_degrees(self) -> Decimal | None:
        """The grid as a number."""
        said = self.cleaned_data["coarse_degrees"]
        return Decimal(said) if said else None


def template_initial(name: str, columns: Sequence[Chosen], coarse: Decimal | None) -> dict[str, Any]:
    """A template as it stands."""
    grid = "" if coarse is None else f"{coarse.normalize():f}"
    return {"name": name, "columns": columns_text(columns), "coarse_degrees": grid}
