"""The boxes of one blind sheet."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone

from inventory.people.models import Person

from ..actions.counts import Entry
from ..models import Count
from ..queries.blind import BlindLine, BlindSheet
from ..rules.who import COUNTERS
from ..rules.words import SACFOR, SACFOR_WORDS, Seen
from ..rules.written import read_box, read_whole

WRITE_INS = 4
_LETTERS = [("", "not counted"), *((s, f"{s} {SACFOR_WORDS[s]}") for s in SACFOR)]
_SEEN = [("", "-"), *((seen.value, seen.value) for seen in Seen)]


@dataclass(frozen=True, slots=True)
class LineBoxes:
    """One line of the list with its boxes."""

    line: BlindLine
    value: forms.BoundField
    low: forms.BoundField | None
    high: forms.BoundField | None
    passes: forms.BoundField | None
    remark: forms.BoundField
    roll_call: list[tuple[str, forms.BoundField]]


class CountSheetForm(forms.Form):
    """The boxes of one blind sheet. Fields are named by line number; a blank box is not counted."""

    counter = forms.ModelChoiceField(Person.objects.none(), label="Counted by")
    counted_at = forms.DateTimeField(
        label="Counted at",
        help_text="As on the paper; it is taken for the lines that are filled in or changed now.",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )

    def __init__(
        self, sheet: BlindSheet, *args: Any, person: Person | None, now: datetime, **kwargs: Any
    ) -> None:
        """``person``: who counts here and now; None where somebody types what others counted."""
        self.sheet = sheet
        mine = [line.mine for line in sheet.lines if line.mine]
        kwargs.setdefault("initial", {})
        kwargs["initial"] |= {
            "counter": mine[-1].counter_id if mine else person and person.pk,
            "counted_at": _as_typed(now if person else mine[-1].counted_at if mine else None),
        }
        super().__init__(*args, **kwargs)
        counter = self.fields["counter"]
        assert isinstance(counter, forms.ModelChoiceField)
        here = Person.objects.filter(left_on=None, user__isnull=False)
        counter.queryset = here.filter(user__groups__name__in=[role.value for role in COUNTERS]).distinct()
        if sheet.letter:
            counter.queryset, counter.required = here, False
            self.fields["party"] = forms.CharField(
                label="Letter from", max_length=120, required=False, initial=mine[-1].party if mine else ""
            )
        for line in sheet.lines:
            self._add_boxes(line)
        for k in range(1, WRITE_INS + 1) if sheet.round == 1 else ():
            self.fields[f"new_name_{k}"] = forms.CharField(required=False, max_length=200, label="Name")
            self.fields[f"new_value_{k}"] = forms.CharField(required=False, max_length=20, label="Count")

    def _add_boxes(self, line: BlindLine) -> None:
        n, count = line.number, line.mine
        label = f"Count of line {n}, {line.name}"
        if line.presence:
            self.fields[f"value_{n}"] = forms.ChoiceField(
                choices=_LETTERS, required=False, label=label, initial=count.letter if count else ""
            )
        else:
            self.fields[f"value_{n}"] = forms.CharField(
                required=False, max_length=20, label=label, initial=_written(count)
            )
            box = self.fields[f"value_{n}"].widget
            box.attrs |= {"inputmode": "text", "autocomplete": "off", "size": 8}
        if line.count_class == "C":
            for name, words in (("low", "lowest"), ("high", "highest"), ("passes", "number of passes")):
                self.fields[f"{name}_{n}"] = forms.CharField(
                    required=False, max_length=9, label=f"{words} of line {n}", initial=_part(count, name)
                )
        self.fields[f"remark_{n}"] = forms.CharField(
            required=False, max_length=300, label=f"Remark on line {n}", initial=count.remark if count else ""
        )
        seen = {s.lot.accession: s.seen for s in count.sightings.all()} if count else {}
        for one in line.individuals:
            self.fields[f"seen_{n}_{one.accession}"] = forms.ChoiceField(
                choices=_SEEN, required=False, label=one.words, initial=seen.get(one.accession, "")
            )
        # In a table the row's head is the label that eyes see; these are for a screen reader.
        for name in (f"value_{n}", f"remark_{n}"):
            self.fields[name].widget.attrs["aria-label"] = self.fields[name].label

    def boxes(self) -> Iterator[LineBoxes]:
        """Every line with its bound fields, in order."""
        for line in self.sheet.lines:
            n = line.number
            many = f"low_{n}" in self.fields
            yield LineBoxes(
                line=line,
                value=self[f"value_{n}"],
                low=self[f"low_{n}"] if many else None,
                high=self[f"high_{n}"] if many else None,
                passes=self[f"passes_{n}"] if many else None,
                remark=self[f"remark_{n}"],
                roll_call=[(one.words, self[f"seen_{n}_{one.accession}"]) for one in line.individuals],
            )

    def write_ins(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """The rows for animals that are not on the list."""
        if self.sheet.round > 1:
            return []
        return [(self[f"new_name_{k}"], self[f"new_value_{k}"]) for k in range(1, WRITE_INS + 1)]

    def clean(self) -> dict[str, Any]:
        """Reads every box by the rules; what cannot be read is marked at its box."""
        cleaned = super().clean() or {}
        self.entries: list[Entry] = []
        for line in self.sheet.lines:
            entry = None if self._untouched(line) else self._entry(line, cleaned)
            if entry is not None and not entry.blank:
                self.entries.append(entry)
        for k in range(1, WRITE_INS + 1) if self.sheet.round == 1 else ():
            self._write_in(k, cleaned)
        if self.sheet.letter and not (cleaned.get("counter") or cleaned.get("party")):
            self.add_error("party", "Say who wrote the letter.")
        return cleaned

    def _untouched(self, line: BlindLine) -> bool:
        """True when the line was counted before and its boxes say the same: it keeps its own moment."""
        n = line.number
        boxes = [f"{name}_{n}" for name in ("value", "low", "high", "passes", "remark")]
        boxes += [f"seen_{n}_{one.accession}" for one in line.individuals]
        return line.mine is not None and not any(name in self.changed_data for name in boxes)

    def _entry(self, line: BlindLine, cleaned: dict[str, Any]) -> Entry | None:
        n = line.number
        seen = {
            one.accession: Seen(cleaned[f"seen_{n}_{one.accession}"])
            for one in line.individuals
            if cleaned.get(f"seen_{n}_{one.accession}")
        }
        try:
            written = read_box(cleaned.get(f"value_{n}") or "", presence=line.presence)
        except ValueError as error:
            self.add_error(f"value_{n}", str(error))
            return None
        low, high, passes = (self._whole(f"{name}_{n}", cleaned) for name in ("low", "high", "passes"))
        if cleaned.get("counted_at") is None:
            return None
        return Entry(
            line=n,
            counted_at=cleaned["counted_at"],
            counter=cleaned.get("counter"),
            party=cleaned.get("party", ""),
            value=written.value,
            at_least=written.at_least,
            letter=written.letter,
            low=low,
            high=high,
            passes=passes,
            seen=seen,
            remark=cleaned.get(f"remark_{n}", ""),
        )

    def _whole(self, name: str, cleaned: dict[str, Any]) -> int | None:
        try:
            return read_whole(cleaned.get(name) or "")
        except ValueError as error:
            self.add_error(name, str(error))
            return None

    def _write_in(self, k: int, cleaned: dict[str, Any]) -> None:
        name, text = cleaned.get(f"new_name_{k}", ""), cleaned.get(f"new_value_{k}", "")
        if not name and not text:
            return
        try:
            written = read_box(text, presence=True)
        except ValueError as error:
            self.add_error(f"new_value_{k}", str(error))
            return
        if not name or written.blank:
            self.add_error(f"new_name_{k}", "Write a name, and a number or a letter.")
        elif cleaned.get("counted_at") is not None:
            self.entries.append(
                Entry(
                    line=0,
                    written_name=name,
                    counted_at=cleaned["counted_at"],
                    counter=cleaned.get("counter"),
                    party=cleaned.get("party", ""),
                    value=written.value,
                    at_least=written.at_least,
                    letter=written.letter,
                )
            )


def _as_typed(moment: datetime | None) -> str | None:
    return timezone.localtime(moment).strftime("%Y-%m-%dT%H:%M") if moment else None


def _written(count: Count | None) -> str:
    if count is None:
        return ""
    if count.letter:
        return count.letter
    return f"at least {count.value}" if count.at_least else str(count.value)


def _part(count: Count | None, name: str) -> str:
    value = getattr(count, name) if count else None
    return "" if value is None else str(value)
