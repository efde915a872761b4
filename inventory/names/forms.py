"""What a person fills in about names."""

from typing import Any

from django import forms

from .models import DecisionKind
from .queries.nearness import has_been_used
from .rules.parse import LONGEST_NAME
from .rules.verdicts import VerdictKind

MOST_LINES = 2_000
# What the page sends before the first bar of an answer, and what it means.
_KINDS = {
    "suggestion": DecisionKind.ACCEPT_SUGGESTION,
    "choice": DecisionKind.CHOOSE,
    "new": DecisionKind.NEW_ACCEPTED_NAME,
    "keep": DecisionKind.KEEP_AS_TYPED,
}


class DecisionForm(forms.Form):
    """One decision. ``answer`` says of what kind, and which name: "choice|Gadus morhua|Linnaeus, 1758".

    Cleaned, it holds what :func:`..actions.review.review` takes: kind, name, authorship, why,
    for_next_time.
    """

    answer = forms.CharField(max_length=700, error_messages={"required": "Choose one of the answers."})
    name = forms.CharField(required=False, max_length=LONGEST_NAME)
    why = forms.CharField(required=False, max_length=2_000)
    for_next_time = forms.BooleanField(required=False)

    def clean(self) -> dict[str, Any]:
        """Takes the answer apart."""
        stated: dict[str, Any] = super().clean() or self.cleaned_data
        answer, _, chosen = str(stated.pop("answer", "")).partition("|")
        if answer and answer not in _KINDS:
            raise forms.ValidationError("Choose one of the answers on the page.")
        stated["kind"] = _KINDS.get(answer)
        stated["authorship"] = ""
        if answer in ("suggestion", "choice"):
            stated["name"], _, stated["authorship"] = chosen.partition("|")
        if answer == "keep":
            stated["name"] = ""
        return stated

    def problems(self) -> str:
        """What is wrong, in one text."""
        return " ".join(str(text) for texts in self.errors.values() for text in texts)


class WantedForm(forms.Form):
    """Which part of the queue is shown. What is not understood is not asked for."""

    verdict = forms.ChoiceField(required=False)
    place = forms.ChoiceField(required=False, label="Tank")
    days = forms.ChoiceField(
        required=False,
        label="Waiting for",
        choices=[
            ("", "any time"),
            ("1", "a day or longer"),
            ("7", "a week or longer"),
            ("30", "30 days or longer"),
        ],
    )

    def __init__(
        self,
        data: Any,
        *,
        verdicts: dict[str, int] | None = None,
        places: list[tuple[str, str]] | None = None,
    ) -> None:
        super().__init__(data)
        kinds = verdicts if verdicts is not None else {kind.value: 0 for kind in VerdictKind}
        self.fields["verdict"].choices = [  # type: ignore[attr-defined]
            ("", "every verdict"),
            *((kind, f"{kind.replace('_', ' ')} ({n})") for kind, n in kinds.items()),
        ]
        codes = places if places is not None else [(data.get("place", ""), "")]
        self.fields["place"].choices = [  # type: ignore[attr-defined]
            ("", "every tank"),
            *((code, f"{code} {name}") for code, name in codes if code),
        ]


class NamesForm(forms.Form):
    """Names to check, one on each line."""

    names = forms.CharField(
        label="Names, one on each line",
        strip=False,
        max_length=200_000,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "autocapitalize": "off"}),
    )
    place = forms.CharField(
        label="Code of the tank they come from, if they come from one",
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"spellcheck": "false", "size": "10"}),
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

    def clean_place(self) -> str:
        """A tank in which animals have stood."""
        place: str = self.cleaned_data["place"]
        if place and not has_been_used(place):
            raise forms.ValidationError(
                f"No animal has ever stood in a tank “{place}”: expected the code of one, such as E06."
            )
        return place
