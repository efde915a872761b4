"""In whose hands a sheet is while it is out for a recount: not in those of its counters."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Exists, OuterRef

from ..models import Count, Recount, Sheet
from ..rules.words import SheetState


@dataclass(slots=True)
class Again:
    """The recounts of one sheet: when the last is due, and who was asked of what is not made yet."""

    due: datetime
    waits: dict[int, str] = field(default_factory=dict)
    made: dict[int, str] = field(default_factory=dict)

    @property
    def people(self) -> dict[int, str]:
        """Whom to chase, by id. Where all is counted again, whoever did it still has to hand the sheet in."""
        return self.waits or self.made

    @property
    def names(self) -> str:
        return ", ".join(sorted(self.people.values()))


def counted_again(sheets: Iterable[Sheet]) -> dict[int, Again]:
    """By sheet, those alone that are out for a recount. One query; none when no sheet is."""
    out = [sheet.pk for sheet in sheets if sheet.state == SheetState.RECOUNT_ASKED]
    counts = Count.objects.filter(line=OuterRef("line"), round=OuterRef("round"))
    asked = Recount.objects.filter(line__sheet__in=out).annotate(is_made=Exists(counts)).order_by()
    found: dict[int, Again] = {}
    columns = ("line__sheet", "due_at", "of", "of__name", "is_made")
    for sheet, due, person, name, is_made in asked.values_list(*columns):
        one = found.setdefault(sheet, Again(due))
        one.due = max(one.due, due)
        (one.made if is_made else one.waits)[person] = name
    return found


def with_whom(sheets: Iterable[Sheet]) -> dict[int, str]:
    """By sheet, who has it; the ``counters`` of the sheets are fetched before. At most one query."""
    held = list(sheets)
    again = counted_again(held)
    named = {sheet.pk: ", ".join(sorted(one.name for one in sheet.counters.all())) for sheet in held}
    return named | {pk: one.names for pk, one in again.items()}
