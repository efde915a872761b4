"""What a layout is asked with, and the columns of the stock list."""

from datetime import date
from typing import Any

from django import forms

from census.change.forms import SCOPES, QuestionForm
from census.change.rules.columns import HEADINGS
from census.change.rules.question import By, Question
from inventory.permits.models import Permit

from .queries.layouts import LAYOUTS, Layout
from .queries.permits import TAKEN
from .rules.file_forms import FORM_WORDS
from .rules.quarters import quarters_between
from .rules.schedule import EVERY_WORDS, LAST_DAY, PERIOD_WORDS
from .rules.stock_list import ARRANGED, LONGEST


class LayoutForm(QuestionForm):
    """The question of the population change, without what the layout decides by itself."""

    by = None  # type: ignore[assignment]
    names = None  # type: ignore[assignment]
    show = None  # type: ignore[assignment]
    sort = None  # type: ignore[assignment]
    subject = forms.CharField(label="Which animal", required=False, max_length=120)

    def __init__(self, data: Any, *, today: date, layout: Layout) -> None:
        first, last = layout.period(today)
        given = {key: data[key] for key in data if data.get(key)}
        super().__init__({"first_day": first.isoformat(), "last_day": last.isoformat(), **given}, today=today)
        self.layout = layout
        if layout.subject:
            self.fields["subject"].initial = ""
            self.order_fields(["subject", *self.fields])
        else:
            del self.fields["subject"]

    def clean(self) -> dict[str, Any]:
        """The layout by period shows a few years only."""
        cleaned = super().clean()
        if self.layout.name == "periods" and "question" in cleaned:
            try:
                quarters_between(cleaned["first_day"], cleaned["last_day"])
            except ValueError as error:
                self.add_error("first_day", str(error))
        return cleaned

    def address(self) -> dict[str, str]:
        """The question as it stands in an address, without what the layout decides."""
        return {key: value for key, value in super().address().items() if key in self.fields}

    @staticmethod
    def _question(cleaned: dict[str, Any]) -> Question:
        return QuestionForm._question({**cleaned, "by": By.TAXON.value})


class TakesForm(forms.Form):
    """Which figure of which line of a permit."""

    permit = forms.ModelChoiceField(Permit.objects.all())
    line = forms.CharField(required=False)
    unit = forms.CharField()
    figure = forms.ChoiceField(choices=[(name, name) for name in TAKEN])
    as_of = forms.DateField()
    known_at = forms.DateTimeField(required=False)


class SaveForm(forms.Form):
    """What is saved of a report beside its layout."""

    name = forms.CharField(label="Name", max_length=80)
    layout = forms.ChoiceField(label="Report", choices=[(one.name, one.words) for one in LAYOUTS.values()])
    subject = forms.CharField(label="Which animal (for a report of one)", required=False, max_length=120)
    scope = forms.ChoiceField(label="Animals", choices=SCOPES)
    period_rule = forms.ChoiceField(
        label="Days", choices=[(rule.value, w) for rule, w in PERIOD_WORDS.items()]
    )
    form = forms.ChoiceField(label="File", choices=list(FORM_WORDS.items()))
    every = forms.ChoiceField(label="Made", choices=[(every.value, w) for every, w in EVERY_WORDS.items()])
    day = forms.IntegerField(label="On day of the month", min_value=1, max_value=LAST_DAY, initial=5)


class ColumnsForm(forms.Form):
    """One box for each column of the population change: the heading under which it stands."""

    why = forms.CharField(label="Why (kept with the change)", required=False, max_length=300)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for column in ARRANGED:
            self.fields[column] = forms.CharField(label=HEADINGS[column].capitalize(), max_length=LONGEST)
        self.order_fields([*ARRANGED, "why"])

    @property
    def headings(self) -> dict[str, str]:
        """Heading by column."""
        return {column: self.cleaned_data[column] for column in ARRANGED}
