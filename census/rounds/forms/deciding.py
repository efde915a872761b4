"""How one line is settled: one small form for each way, and one that takes them all."""

from collections.abc import Mapping
from typing import Any

from django import forms

from inventory.people.models import Person

from ..readers.decisions import Asked, read_row
from ..rules.reasons import REASONS, Enters
from ..rules.settling import LATE_KINDS
from ..rules.words import How

_LATE = [(kind.value, kind.value.replace("_", " ")) for kind in LATE_KINDS]
_SEXES = [("", "-"), *((sex, sex) for sex in ("male", "female", "hermaphrodite", "unknown"))]


class DecisionForm(forms.Form):
    """Any way of settling; :func:`way_form` is the form of one way, with its own fields only."""

    how = forms.ChoiceField(label="How it is settled", choices=[(how.value, how.words) for how in How])
    reason = forms.ChoiceField(
        required=False,
        label="Reason",
        choices=[("", "-"), *((reason.name, f"{reason.group}: {reason.name}") for reason in REASONS)],
    )
    n = forms.IntegerField(
        required=False, label="Number", help_text="An adjustment with its sign: -5 is a loss of five."
    )
    kind = forms.ChoiceField(required=False, label="What happened", choices=[("", "-"), *_LATE])
    happened = forms.CharField(
        required=False,
        max_length=60,
        label="When it happened",
        help_text="YYYY-MM-DD, YYYY-MM-DDTHH:MM, or START/END.",
    )
    to_line = forms.CharField(
        required=False,
        max_length=120,
        label="The other line",
        help_text="Its number, or a place and a name: E07 Gobius niger.",
    )
    to_place = forms.CharField(
        required=False, max_length=20, label="To place", help_text="Where no line counts it there."
    )
    to_accession = forms.CharField(
        required=False,
        max_length=40,
        label="The lot they belong to",
        help_text="Where the other line has several.",
    )
    accessions = forms.CharField(
        required=False, max_length=300, label="Which animals", help_text="Accession numbers, with spaces."
    )
    from_sex = forms.ChoiceField(required=False, choices=_SEXES, label="From sex")
    to_sex = forms.ChoiceField(required=False, choices=_SEXES, label="To sex")
    to_stage = forms.CharField(required=False, max_length=20, label="To stage")
    reverses = forms.CharField(
        required=False, max_length=120, label="Takes back", help_text="Ref or identifier of the event."
    )
    cause = forms.CharField(required=False, max_length=120, label="Cause of death")
    last_seen = forms.CharField(
        required=False, label="Last seen", widget=forms.DateInput(attrs={"type": "date"})
    )
    drift = forms.BooleanField(
        required=False, label="Third census running on the same side (class C; name them as evidence)"
    )
    approved_by = forms.ModelChoiceField(
        Person.objects.filter(left_on=None, user__groups__name="curator"),
        required=False,
        label="Approved on paper by",
        help_text="Who signed by hand; the note says on which paper.",
        to_field_name="name",
    )
    countersigned_by = forms.ModelChoiceField(
        Person.objects.filter(left_on=None, user__groups__name="permit_officer"),
        required=False,
        label="Countersigned on paper by",
        to_field_name="name",
    )
    evidence = forms.CharField(required=False, max_length=250, label="Evidence")
    note = forms.CharField(required=False, label="Note", widget=forms.Textarea(attrs={"rows": 2}))
    owner = forms.ModelChoiceField(
        Person.objects.filter(left_on=None, user__isnull=False),
        required=False,
        label="Owner",
        to_field_name="name",
    )
    due = forms.CharField(required=False, label="Until", widget=forms.DateInput(attrs={"type": "date"}))

    ask = forms.BooleanField(
        required=False,
        label="Ask for approval",
        help_text="Nothing is posted until those whose names it needs have approved it themselves.",
    )

    ALWAYS = ("how", "reason", "n", "evidence")
    APPROVAL = ("ask", "approved_by", "countersigned_by", "note")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for name, problem in against_names(cleaned):
            self.add_error(name, problem)
        return cleaned

    def asked(self, line: str) -> tuple[Asked | None, list[str]]:
        """What is stated, read by the same reader as a row of a decisions file."""
        texts = {name: "" if value is None else str(value) for name, value in self.cleaned_data.items()}
        texts.pop("ask", None)
        texts["line"] = line
        texts["drift"] = "yes" if self.cleaned_data.get("drift") else ""
        return read_row(line, texts)

    def always(self) -> list[forms.BoundField]:
        return [self[name] for name in self.ALWAYS]

    def sometimes(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name not in (*self.ALWAYS, *self.APPROVAL)]

    def approval(self) -> list[forms.BoundField]:
        return [self[name] for name in self.APPROVAL]


_PROOF = ("evidence", "note")
# The fields of each way, in the order of the page; those with an asterisk must be filled in.
FIELDS: Mapping[How, tuple[str, ...]] = {
    How.COUNT_STANDS: _PROOF,
    How.LATE_EVENT: (
        "kind*",
        "happened*",
        "n",
        "accessions",
        "reason",
        "cause",
        "to_place",
        "reverses",
        *_PROOF,
        "ask",
        "approved_by",
    ),
    How.LATE_MOVE: (
        "n",
        "happened*",
        "to_line",
        "to_place",
        "accessions",
        "reason",
        *_PROOF,
        "ask",
        "approved_by",
    ),
    How.CHANGE_OF_NAME: (
        "n",
        "to_line",
        "to_accession",
        "accessions",
        "reason",
        *_PROOF,
        "ask",
        "approved_by",
    ),
    How.REGROUP: ("n*", "from_sex", "to_sex", "to_stage", "reason", *_PROOF),
    How.ADJUSTMENT: (
        "n*",
        "reason*",
        "accessions",
        "last_seen",
        "drift",
        "evidence",
        "note",
        "ask",
        "approved_by",
        "countersigned_by",
    ),
    How.MISSING: ("n", "accessions", "last_seen", "owner*", "due", *_PROOF),
    How.OBSERVATION: ("reason", *_PROOF),
    How.YOUNG_APART: ("owner", "due", *_PROOF),
    How.OPEN_QUERY: ("owner*", "due*", *_PROOF),
}
# Which reasons a way may give; no reason enters what posts nothing.
_ENTERS: Mapping[How, Enters] = {
    How.LATE_EVENT: Enters.LATE_EVENT,
    How.LATE_MOVE: Enters.LATE_EVENT,
    How.CHANGE_OF_NAME: Enters.LATE_EVENT,
    How.REGROUP: Enters.LATE_EVENT,
    How.ADJUSTMENT: Enters.ADJUSTMENT,
}


class WayForm(DecisionForm):
    """One way of settling. ``how`` is told by a hidden field; each form has ids of its own."""

    def __init__(self, how: How, *args: Any, **kwargs: Any) -> None:
        self.way = how
        kwargs.setdefault("auto_id", f"id_{how.value}_%s")
        super().__init__(*args, **kwargs)
        named = FIELDS[how]
        wanted = [name.rstrip("*") for name in named]
        self.fields = {name: self.fields[name] for name in ("how", *wanted)}
        for name in named:
            if name.endswith("*"):
                self.fields[name.rstrip("*")].required = True
        self.fields["how"].widget = forms.HiddenInput()
        self.initial["how"] = how.value
        if "reason" in self.fields:
            self.fields["reason"] = forms.ChoiceField(
                required="reason*" in named,
                label="Reason",
                choices=[("", "-"), *_reasons(how)],
                initial=self.initial.get("reason", ""),
            )
        if how is not How.ADJUSTMENT and "n" in self.fields:
            self.fields["n"].label, self.fields["n"].help_text = "How many", ""

    @property
    def title(self) -> str:
        """The way in words."""
        return self.way.words


def against_names(cleaned: Mapping[str, Any]) -> list[tuple[str, str]]:
    """(field, what is wrong): a name that another enters was signed by hand, and the note says where."""
    named = bool(cleaned.get("approved_by") or cleaned.get("countersigned_by"))
    if named and cleaned.get("ask"):
        return [("ask", "Either ask for approval, or name who signed on paper.")]
    if named and not str(cleaned.get("note") or "").strip():
        return [("note", "Say which paper was signed by hand; or ask for approval instead.")]
    return []


def way_form(how: How, data: Any = None, *, initial: Mapping[str, Any] | None = None) -> WayForm:
    """The form of one way; bound when ``data`` states this way, so that its errors show there alone."""
    bound = data if data is not None and data.get("how") == how.value else None
    return WayForm(how, bound, initial=dict(initial or {}))


def way_forms(data: Any = None, *, initial: Mapping[str, Any] | None = None) -> list[WayForm]:
    """One small form for each way. ``initial`` fills in the way that its ``how`` names, and no other."""
    filled = initial or {}
    return [
        way_form(how, data, initial=filled if filled.get("how") in (how, how.value) else None)
        for how in FIELDS
    ]


def _reasons(how: How) -> list[tuple[str, str]]:
    enters = _ENTERS.get(how, Enters.NOTE)
    return [(r.name, f"{r.group}: {r.name}") for r in REASONS if enters in r.enters]
