"""What the page of the population change is asked with; all of it is in the address."""

from datetime import date
from typing import Any

from django import forms

from inventory.book.queries.names import CLOSING, NoSuchNames
from inventory.book.rules.scope import Scope
from inventory.names.queries.eras import releases_in_use

from .queries.behind import Selection
from .queries.closings import check_names
from .queries.reading import group_label
from .rules.figures import is_figure
from .rules.question import Basis, By, Question, last_quarter

_DAY = {"type": "date"}
_BY = {By.TAXON: "taxon", By.PLACE: "place and taxon", By.LOT: "lot", By.SOURCE: "source and taxon"}
_BY[By.OWNER] = "owner and taxon"
_SCOPE = {
    Scope.HERE: "here: on the premises",
    Scope.OURS: "ours, wherever",
    Scope.ALL: "both: here, and ours elsewhere",
}
_BASIS = {Basis.REPORTED: "as reported at the closings", Basis.KNOWN: "as known at one moment"}
SCOPES = [(scope.value, words) for scope, words in _SCOPE.items()]
SORTS = {"name": "name", "change": "largest change first", "unexplained": "most unexplained first"}
FORMS = {"short": "short form", "full": "full form, every column"}


class QuestionForm(forms.Form):
    """A question; what is not given is the last full quarter, by taxon, here, as reported."""

    first_day = forms.DateField(label="From", widget=forms.DateInput(_DAY))
    last_day = forms.DateField(label="To", widget=forms.DateInput(_DAY))
    by = forms.ChoiceField(label="Rows by", choices=[(by.value, words) for by, words in _BY.items()])
    scope = forms.ChoiceField(label="Animals", choices=SCOPES)
    basis = forms.ChoiceField(
        label="Figures", choices=[(basis.value, words) for basis, words in _BASIS.items()]
    )
    known_at = forms.DateTimeField(
        label="Known at (empty: now)",
        required=False,
        widget=forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    names = forms.ChoiceField(label="Names", required=False)
    show = forms.ChoiceField(label="Columns", choices=list(FORMS.items()))
    sort = forms.ChoiceField(label="Sorted by", choices=list(SORTS.items()))

    def __init__(self, data: Any, *, today: date) -> None:
        given = {key: data[key] for key in self.base_fields if data.get(key)}
        first, last = last_quarter(today)
        basis = Basis.KNOWN if "known_at" in given else Basis.REPORTED
        defaults = {
            "first_day": first.isoformat(),
            "last_day": last.isoformat(),
            "by": By.TAXON.value,
            "scope": Scope.HERE.value,
            "basis": basis.value,
            "show": "short",
            "sort": "name",
        }
        super().__init__({**defaults, **given})
        releases = releases_in_use()
        if len(releases) > 1 and "names" in self.fields:
            of_release = [(str(one.pk), f"of {one}") for one in releases]
            at_closing = (CLOSING, "as at the closing")
            self.fields["names"].choices = [("", "of now"), at_closing, *of_release]  # type: ignore[attr-defined]
        else:
            self.fields.pop("names", None)

    def clean(self) -> dict[str, Any]:
        """Makes the question; the order of the days is the question's own rule."""
        cleaned: dict[str, Any] = super().clean() or {}
        if not self.errors:
            try:
                cleaned["question"] = self._question(cleaned)
                check_names(cleaned["question"])
            except NoSuchNames as error:
                self.add_error("names", str(error))
            except ValueError as error:
                self.add_error("last_day", str(error))
        return cleaned

    @staticmethod
    def _question(cleaned: dict[str, Any]) -> Question:
        return Question(
            first_day=cleaned["first_day"],
            last_day=cleaned["last_day"],
            by=By(cleaned["by"]),
            scope=Scope(cleaned["scope"]),
            basis=Basis(cleaned["basis"]),
            known_at=cleaned["known_at"],
            names=cleaned.get("names", ""),
        )

    def address(self) -> dict[str, str]:
        """The question as it stands in an address; days and moments as they were given."""
        return {key: value for key, value in self.data.items() if value}


class FigureForm(forms.Form):
    """Which figure of which row; without a taxon and a group it is the total of the unit."""

    figure = forms.CharField()
    unit = forms.CharField()
    taxon = forms.IntegerField(required=False)
    group = forms.CharField(required=False)
    other = forms.IntegerField(required=False)

    def clean_figure(self) -> str:
        """The figure's name as the rules know it."""
        figure: str = self.cleaned_data["figure"]
        if not is_figure(figure):
            raise forms.ValidationError("The report has no such figure.")
        return figure

    def selection(self, by: By) -> Selection:
        """The rows that the figure adds up."""
        group = self.cleaned_data["group"]
        numbered = by in (By.PLACE, By.LOT) and group.isdecimal()
        return Selection(
            unit=self.cleaned_data["unit"],
            taxon_id=self.cleaned_data["taxon"],
            group=int(group) if numbered else group or None,
            other=self.cleaned_data["other"],
        )

    def group_label(self, by: By) -> str:
        """What the page calls the group: a place's code, a lot's number, a source."""
        group: str = self.cleaned_data["group"]
        if not group:
            return ""
        return group_label(by, group)

    def address(self) -> dict[str, str]:
        """The figure as it stands in an address."""
        return {key: str(self.data[key]) for key in self.fields if self.data.get(key)}
