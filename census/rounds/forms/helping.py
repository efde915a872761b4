"""The plain questions of a way to count."""

from typing import Any

from django import forms

from ..rules.count_help import CountHelp, Question


class QuestionsForm(forms.Form):
    """One box for each question; what stands in it is read by the estimator's own rules."""

    def __init__(self, help_: CountHelp, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for question in help_.questions:
            self.fields[question.name] = _field(question)

    def answers(self) -> dict[str, str]:
        """What was typed, by the estimator's names."""
        return {name: str(text) for name, text in self.cleaned_data.items()}


def _field(question: Question) -> forms.CharField:
    attrs = {"inputmode": "text" if question.several else "decimal", "autocomplete": "off"}
    return forms.CharField(
        label=question.words,
        help_text=question.help,
        max_length=300,
        widget=forms.TextInput(attrs=attrs),
        error_messages={"required": "Write a number; 0 if there was none."},
    )


class WriteOnLineForm(forms.Form):
    """When it was counted; who asks for help has counted it."""

    counted_at = forms.DateTimeField(
        label="Counted at",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
