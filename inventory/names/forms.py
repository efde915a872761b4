"""What a person fills in about names."""

from django import forms

from .models import DecisionKind
from .rules.parse import LONGEST_NAME

MOST_LINES = 2_000


class DecisionForm(forms.Form):
    """One decision; ``choice`` is name and authorship as the page offered them."""

    kind = forms.ChoiceField(choices=DecisionKind.choices)
    choice = forms.CharField(required=False, max_length=700)
    name = forms.CharField(required=False, max_length=LONGEST_NAME)
    why = forms.CharField(required=False, max_length=2_000)
    for_next_time = forms.BooleanField(required=False)


class NamesForm(forms.Form):
    """Names to check, one on each line."""

    names = forms.CharField(
        label="Names, one on each line",
        strip=False,
        max_length=200_000,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "autocapitalize": "off"}),
    )

    def clean_names(self) -> list[str]:
        """The lines, in order."""
        lines: list[str] = self.cleaned_data["names"].replace("\r\n", "\n").rstrip("\n").split("\n")
        if len(lines) > MOST_LINES:
            raise forms.ValidationError(
                f"{len(lines)} lines are too many for this page: at most {MOST_LINES}. "
                "For longer lists there is the command check_names."
            )
        return lines
