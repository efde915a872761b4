"""What a layout is asked with, and the columns of the stock list."""

from datetime import date
from typing import Any

from django import forms

from census.change.forms import QuestionForm
from census.change.rules.columns import HEADINGS
from census.change.rules.question import By, Question

from .queries.layouts import Layout
from .rules.quarters import quarters_between
from .rules.stock_list import ARRANGED, LONGEST


class LayoutForm(QuestionForm):
    """The question of the population change, without what the layout decides by itself."""

    by = None  # type: ignore[assignment]
    names = None  # type: ignore[assignment]
    show = None  # type: ignore[assignment]
    sort = None  # type: ignore[assignment]

    def __init__(self, data: Any, *, today: date, layout: Layout) -> None:
        first, last = layout.period(today)
        given = {key: data[key] for key in data if data.get(key)}
        super().__init__({"first_day": first.isoformat(), "last_day": last.isoformat(), **given}, today=today)
        self.layout = layout

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
