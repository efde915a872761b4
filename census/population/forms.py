"""What the pages of the populations are asked with; all of it is in the address."""

from collections.abc import Collection
from datetime import date
from typing import Any

from django import forms
from django.utils.timezone import localdate

from census.change.rules.question import last_quarter
from inventory.book.models import Lot, Place
from inventory.book.rules.scope import Scope
from inventory.names.models import Taxon

from .rules.asked import Asked

_DAY = {"type": "date"}
SAME, OWN = "same", "own"
# Fields that only one page has.
MORE = ("against", "scale")
_SCOPE = {Scope.HERE: "here: on the premises", Scope.OURS: "ours, wherever", Scope.ALL: "all"}


class AskedForm(forms.Form):
    """Without anything given it is the last full quarter of the house, animals on the premises."""

    taxon = forms.CharField(label="Taxon or family", required=False)
    place = forms.CharField(label="Place", required=False)
    first_day = forms.DateField(label="From", widget=forms.DateInput(_DAY))
    last_day = forms.DateField(label="To", widget=forms.DateInput(_DAY))
    scope = forms.ChoiceField(
        label="Animals", choices=[(scope.value, words) for scope, words in _SCOPE.items()]
    )
    unit = forms.ChoiceField(label="Unit")
    known_at = forms.DateTimeField(
        label="Known at (empty: now)",
        required=False,
        widget=forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    against = forms.CharField(label="Against the place", required=False)
    scale = forms.ChoiceField(label="Scale", choices=[(SAME, "one for all"), (OWN, "each its own")])

    def __init__(self, data: Any, *, today: date, more: Collection[str] = ()) -> None:
        """``more`` names the fields that only some pages have."""
        given = {key: data[key] for key in self.base_fields if data.get(key)}
        first, last = last_quarter(today)
        defaults = {
            "first_day": first.isoformat(),
            "last_day": last.isoformat(),
            "scope": Scope.HERE.value,
            "unit": "animal",
            "scale": SAME,
        }
        super().__init__({**defaults, **given})
        self.today = today
        self.given = given
        for key in MORE:
            if key not in more:
                self.fields.pop(key)
        units = sorted({"animal", *Lot.objects.order_by().values_list("unit", flat=True).distinct()})
        self.fields["unit"].choices = [(unit, unit) for unit in units]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Makes the question. A name is looked for among the taxa, then among the families."""
        cleaned: dict[str, Any] = super().clean() or {}
        name = (cleaned.get("taxon") or "").strip()
        taxon = Taxon.objects.filter(scientific_name__iexact=name).first() if name else None
        family = ""
        if name and taxon is None:
            found = Taxon.objects.filter(family__iexact=name).first()
            family = found.family if found else ""
            if not found:
                self.add_error(
                    "taxon",
                    f"No taxon and no family is called “{name}”. Write the scientific name of the house.",
                )
        places = {key: self._place(key, cleaned.get(key)) for key in ("place", "against")}
        if not self.errors:
            try:
                known_at = cleaned["known_at"]
                asked = cleaned["asked"] = Asked(
                    cleaned["first_day"],
                    cleaned["last_day"],
                    # After what is known nothing has happened yet, as far as the answer goes.
                    self.today if known_at is None else min(self.today, localdate(known_at)),
                    taxon=taxon.pk if taxon else None,
                    family=family,
                    place=places["place"],
                    scope=Scope(cleaned["scope"]),
                    known_at=known_at,
                    unit=cleaned["unit"],
                    against=places["against"],
                    own_scale=cleaned.get("scale") == OWN,
                )
                asked.check_length()
            except ValueError as error:
                self.add_error("last_day", str(error))
        return cleaned

    def _place(self, key: str, code: Any) -> int | None:
        if not code:
            return None
        found = Place.objects.filter(code__iexact=str(code).strip()).first()
        if found is None:
            self.add_error(key, f"No place has the code “{code}”. The page Places lists them.")
        return found.pk if found else None

    def address(self) -> dict[str, str]:
        """The question as it stands in an address."""
        return {key: str(value) for key, value in self.given.items() if key in self.fields}
