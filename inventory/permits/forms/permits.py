"""A permit as it is typed off its paper: the head, and one row for each line of its schedule."""

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.forms import BaseFormSet, formset_factory

from inventory.book.rules.days import day_in_words

from ..actions.permits import LineFacts, LinkFacts, VersionFacts
from ..models import Per, PermitVersion, Scope, VersionKind, Waters
from ..queries.accounts import member_name
from ..queries.reading import PermitRead
from ..rules.sheets import area, seasons, several
from .parts import DayField, ReadField, YesNoField, name_cells, people_choices

_AREA_HELP = "Corners as longitude latitude, joined with |: -4.62 60.41 | -3.88 60.41 | -3.88 60.86"


class VersionForm(forms.Form):
    """What a version of a permit says, its schedule apart."""

    valid_from = DayField(label="Valid from")
    valid_until = DayField(label="Valid until, last day")
    people = forms.MultipleChoiceField(
        required=False, label="People named", widget=forms.CheckboxSelectMultiple
    )
    area_words = forms.CharField(required=False, max_length=300, label="Area, in the permit's words")
    area = ReadField(read=area, empty=(), label="Area, corners", help_text=_AREA_HELP)
    waters = forms.ChoiceField(
        required=False,
        label="Waters",
        choices=Waters.choices,
        initial=Waters.SEA,
        help_text="Positions of trips far on the other side of the shore are asked about.",
    )
    gear = ReadField(read=several, empty=(), label="Gear allowed", help_text="Joined with |; empty: any.")
    seasons = ReadField(
        read=seasons, empty=(), label="Seasons", help_text="04-01 to 09-30, joined with |; empty: all year."
    )
    conditions = forms.CharField(
        required=False,
        label="Conditions, in the permit's words",
        widget=forms.Textarea({"rows": 3}),
    )
    let_go_alive_counts = forms.BooleanField(
        required=False, label="Animals let go alive count against the limits"
    )
    notice_days = forms.IntegerField(
        required=False, min_value=1, max_value=365, label="Days to tell of a death"
    )
    missing_is_notice = forms.BooleanField(required=False, label="An animal not found is told like a death")
    stock_statement = forms.ChoiceField(
        required=False,
        label="Statement of stock",
        choices=[("", "none"), ("quarter", "each quarter"), ("year", "each year")],
    )
    return_due_on = DayField(required=False, label="Return due on", help_text="Empty: the authority's rule.")
    why = forms.CharField(required=False, max_length=300, label="Note on this version")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = self.fields["people"]
        assert isinstance(people, forms.MultipleChoiceField)
        people.choices = people_choices()

    def facts(self, lines: list[LineFacts]) -> VersionFacts:
        """The version as it was written."""
        said = self.cleaned_data
        names = (
            *("valid_from", "valid_until", "people", "area_words", "area", "gear", "seasons", "conditions"),
            *("let_go_alive_counts", "notice_days", "missing_is_notice", "stock_statement"),
            *("return_due_on", "why"),
        )
        waters = said["waters"] or Waters.SEA.value
        return VersionFacts(lines=lines, waters=waters, **{name: said[name] for name in names})


class NewPermitForm(VersionForm):
    """A permit that is not here yet."""

    number = forms.CharField(max_length=60, label="Permit number")
    short = forms.CharField(required=False, max_length=12, label="What people here call it")
    authority = forms.CharField(max_length=20, label="Authority, in short")
    authority_name = forms.CharField(required=False, max_length=200, label="Authority, in full")
    return_days = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=730,
        label="Authority's rule: return due, days after expiry",
    )
    holder = forms.CharField(max_length=200, label="Holder")
    kind = forms.CharField(max_length=60, initial="collecting", label="Kind of permit")
    field_order = ["number", "short", "authority", "authority_name", "return_days", "holder", "kind"]


class AmendForm(VersionForm):
    """The next version of a permit, offered as the last one stands."""

    change = forms.ChoiceField(
        label="What it is",
        choices=[
            (VersionKind.AMENDMENT, "an amendment: what was counted goes on"),
            (VersionKind.RENEWAL, "a renewal: counting begins anew"),
        ],
    )
    amended_on = DayField(label="Holds from")
    field_order = ["change", "amended_on"]


class LineForm(forms.Form):
    """One line of the schedule. ``number`` stays with the line through all versions."""

    number = forms.IntegerField(required=False, widget=forms.HiddenInput)
    words = forms.CharField(required=False, max_length=300, label="The permit's own words")
    covers = forms.ChoiceField(label="Covers", choices=Scope.choices, initial=Scope.TAXON)
    names = ReadField(
        read=several,
        empty=(),
        label="Names now",
        help_text="Joined with |; a group with its rank: order Actiniaria",
    )
    limit = forms.IntegerField(required=False, min_value=0, label="Limit")
    per = forms.ChoiceField(label="Per", choices=Per.choices, initial=Per.PERMIT)
    unit = forms.CharField(max_length=40, initial="animal", label="Unit")
    sex = forms.ChoiceField(
        required=False, label="Sex", choices=[("", "any"), ("male", "males"), ("female", "females")]
    )
    smallest_mm = forms.IntegerField(required=False, min_value=1, label="From mm")
    largest_mm = forms.IntegerField(required=False, min_value=1, label="To mm")
    condition = forms.CharField(required=False, max_length=200, label="Condition")
    let_go_alive_counts = YesNoField(
        label="Let go alive", unsaid="as the permit", yes="counts", no="does not count"
    )

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        if not said.get("words") and not said.get("number"):
            self.add_error("words", "A line has the permit's own words.")
        return said

    def facts(self) -> LineFacts:
        """The line as it was written."""
        said = self.cleaned_data
        names = said["names"]
        return LineFacts(
            words=said["words"],
            limit=said["limit"],
            per=said["per"],
            unit=said["unit"],
            sex=said["sex"],
            condition=said["condition"],
            let_go_alive_counts=said["let_go_alive_counts"],
            smallest_mm=said["smallest_mm"],
            largest_mm=said["largest_mm"],
            number=said["number"] or 0,
            link=LinkFacts(said["covers"], names) if names else None,
        )


if TYPE_CHECKING:
    _Rows = BaseFormSet[LineForm]
else:
    _Rows = BaseFormSet


class LineRows(_Rows):
    """The schedule; rows left empty are left out."""

    def add_fields(self, form: LineForm, index: int | None) -> None:
        super().add_fields(form, index)
        if index is not None:
            name_cells(form, index + 1)

    @property
    def filled(self) -> list[LineForm]:
        """The rows that are lines; one whose words were taken out is left out."""
        return [form for form in self.forms if form.cleaned_data.get("words")]

    def facts(self) -> list[LineFacts]:
        """The lines in their order."""
        return [form.facts() for form in self.filled]


_Lines = formset_factory(LineForm, formset=LineRows, extra=5)


def line_rows(data: Any, *, initial: list[dict[str, Any]] | None = None) -> LineRows:
    """The rows of the schedule, with some empty ones."""
    rows = _Lines(data, prefix="line", initial=initial)
    assert isinstance(rows, LineRows)
    return rows


class LinkForm(forms.Form):
    """What a line's words mean from now on."""

    covers = forms.ChoiceField(label="Covers", choices=Scope.choices)
    names = ReadField(
        read=several,
        empty=(),
        label="Names",
        help_text="Joined with |; a group with its rank in front: order Actiniaria",
    )
    why = forms.CharField(required=False, max_length=300, label="Why")

    def facts(self) -> LinkFacts:
        """The link as it was written."""
        said = self.cleaned_data
        return LinkFacts(said["covers"], said["names"], said["why"])


class StatementForm(forms.Form):
    """A statement of stock went out."""

    as_of = forms.TypedChoiceField(label="Stock at the end of", coerce=date.fromisoformat)
    sent_on = forms.DateField(label="Sent on", widget=forms.DateInput(attrs={"type": "date"}))
    how = forms.CharField(
        label="How", max_length=120, help_text="By letter, e-mail, on the authority's page."
    )

    def __init__(self, *args: Any, wanted: Sequence[date], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = cast(forms.TypedChoiceField, self.fields["as_of"])
        field.choices = [(str(day), day_in_words(day)) for day in reversed(wanted)]


class PaperForm(forms.Form):
    """A paper to keep with the newest version."""

    file = forms.FileField(label="Paper (PDF, picture, text)")


def version_initial(version: PermitVersion, people: list[str]) -> dict[str, Any]:
    """The newest version, as the form offers it for the next."""
    plain = (
        *("valid_from", "valid_until", "area_words", "conditions", "let_go_alive_counts", "notice_days"),
        *("missing_is_notice", "stock_statement", "return_due_on", "waters"),
    )
    return {name: getattr(version, name) for name in plain} | {
        "people": people,
        "area": " | ".join(f"{_degrees(x)} {_degrees(y)}" for x, y in version.area),
        "gear": " | ".join(version.gear),
        "seasons": " | ".join(f"{start} to {end}" for start, end in version.seasons),
    }


def _degrees(value: float) -> str:
    """To the sixth decimal, in which degrees are kept, and no zeros after the last."""
    return f"{value:.6f}".rstrip("0").rstrip(".")


def lines_initial(read: PermitRead) -> list[dict[str, Any]]:
    """The lines as they stand, for the next version."""
    plain = (
        *("number", "words", "limit", "per", "unit", "sex", "smallest_mm", "largest_mm", "condition"),
        "let_go_alive_counts",
    )
    return [
        {name: getattr(line, name) for name in plain}
        | {
            "covers": read.links[line.number].scope if line.number in read.links else Scope.TAXON,
            "names": names_of_link(read, line.number),
        }
        for line in read.lines
    ]


def names_of_link(read: PermitRead, number: int) -> str:
    """The names of a link as they are typed."""
    return " | ".join(
        member_name(m) if m.taxon or not m.rank or m.rank == "species" else f"{m.rank} {m.name}"
        for m in read.members.get(number, ())
    )
