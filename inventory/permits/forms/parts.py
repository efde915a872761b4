"""Fields that several forms share, and how a form shows what a writer refused."""

from collections.abc import Callable, Collection, Iterable
from typing import Any

from django import forms

from inventory.book.models import Place
from inventory.book.queries.lists import places_for_animals
from inventory.book.rules.drafts import Problem

from ..queries.people import people


class DayField(forms.DateField):
    """A day, with the browser's own chooser."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class ReadField(forms.CharField):
    """Text that is read by one of the rules of the sheets; what is wrong is said as there."""

    def __init__(self, *, read: Callable[[Any], Any], empty: Any, **kwargs: Any) -> None:
        super().__init__(required=False, **kwargs)
        self.read = read
        self.empty = empty

    def clean(self, value: Any) -> Any:
        words = super().clean(value)
        if not words:
            return self.empty
        try:
            return self.read(words)
        except ValueError as error:
            raise forms.ValidationError(str(error).capitalize()) from None


class YesNoField(forms.NullBooleanField):
    """Yes, no, or nothing said; a plain menu would show what is kept as nothing said."""

    def __init__(self, *, unsaid: str, yes: str, no: str, **kwargs: Any) -> None:
        menu = forms.NullBooleanSelect()
        menu.choices = [("unknown", unsaid), ("true", yes), ("false", no)]
        super().__init__(required=False, widget=menu, **kwargs)


def people_choices(first: Collection[str] = ()) -> list[tuple[str, str]]:
    """Everybody of the house, those who left too. ``first`` come first."""
    found = sorted(people(), key=lambda person: person.name not in first)
    return [
        (person.name, f"{person.name} (left {person.left_on})" if person.left_on else person.name)
        for person in found
    ]


def place_choices() -> list[tuple[str, str]]:
    """Where animals can be."""
    return [("", "choose"), *((place.code, _called(place)) for place in places_for_animals())]


def _called(place: Place) -> str:
    return f"{place.code} {place.name}"


def add_problems(form: forms.BaseForm, problems: Iterable[Problem]) -> None:
    """Shows problems at their fields; those of no field of the form at its head."""
    for problem in problems:
        column = problem.column if problem.column in form.fields else None
        words = problem.message[:1].upper() + problem.message[1:]
        form.add_error(column, f"{words}." if not words.endswith((".", "?")) else words)


def name_cells(form: forms.BaseForm, row: int) -> None:
    """Gives each box of a table row a name for those who do not see the headings."""
    for field in form.fields.values():
        field.widget.attrs["aria-label"] = f"{field.label}, row {row}"
