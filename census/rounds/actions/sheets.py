"""The way of a sheet: issued, started, handed in, accepted; or void, or lost."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import Exists, OuterRef

from inventory.people.models import Person

from ..models import Census, Line, Sheet
from ..rules.states import may_follow
from ..rules.who import COUNTS, DECIDES, TYPES_LETTERS
from ..rules.words import CensusState, LineKind, SheetForm, SheetState
from .allowed import require
from .moving import move_census, running
from .refused import CensusRefused


@transaction.atomic
def issue(
    *,
    sheet: Sheet,
    by: Person,
    now: datetime,
    counters: Iterable[Person] | None = None,
    list_version: str = "",
    planned_at: datetime | None = None,
) -> Sheet:
    """Gives the sheet out to its counters: those given here, else those named before.

    ``list_version`` names the list that was printed. ``planned_at``: when it is to be counted; its quiet
    time begins before that.
    """
    require(by, DECIDES, "issue a sheet")
    sheet = _to(sheet, SheetState.ISSUED)
    sheet.issued_at = now
    sheet.list_version = list_version or sheet.list_version
    sheet.planned_at = planned_at or sheet.planned_at
    sheet.save(update_fields=["state", "issued_at", "list_version", "planned_at"])
    if counters is not None:
        sheet.counters.set(counters)
    move_census(sheet.census, CensusState.ISSUED)
    return sheet


@transaction.atomic
def issue_all(*, census: Census, by: Person, now: datetime) -> list[str]:
    """Gives out every sheet that has a counter named and is not out yet; their numbers. A constant number of
    queries. Raises :class:`CensusRefused` when there is none."""
    require(by, DECIDES, "issue a sheet")
    census = running(census)
    named = Sheet.counters.through.objects.filter(sheet=OuterRef("pk"))
    waiting = Sheet.objects.filter(Exists(named), census=census, state=SheetState.NOT_ISSUED.value)
    ready = list(waiting.select_for_update().order_by("number"))
    if not ready:
        raise CensusRefused(f"{census.code} has no sheet that names its counters and is not issued yet.")
    Sheet.objects.filter(pk__in=[one.pk for one in ready]).update(
        state=SheetState.ISSUED.value, issued_at=now
    )
    move_census(census, CensusState.ISSUED)
    return [one.number for one in ready]


@transaction.atomic
def start(*, sheet: Sheet, by: Person, now: datetime) -> Sheet:
    """The first line is being counted."""
    require(by, COUNTS, "start a sheet")
    sheet = _to(sheet, SheetState.STARTED)
    sheet.started_at = now
    sheet.save(update_fields=["state", "started_at"])
    move_census(sheet.census, CensusState.COUNTING)
    return sheet


@transaction.atomic
def hand_in(*, sheet: Sheet, by: Person, now: datetime) -> Sheet:
    """The counters give the sheet back, also after a recount. Lines may be blank: not counted."""
    require(by, TYPES_LETTERS if sheet.form == SheetForm.LETTER else COUNTS, "hand in a sheet")
    sheet = _to(sheet, SheetState.HANDED_IN)
    sheet.handed_in_at = now
    sheet.started_at = sheet.started_at or now
    sheet.save(update_fields=["state", "handed_in_at", "started_at"])
    move_census(sheet.census, CensusState.COUNTING)
    return sheet


@transaction.atomic
def accept(*, sheet: Sheet, by: Person, now: datetime) -> Sheet:
    """The registrar has looked at the sheet and wants nothing more of it."""
    require(by, DECIDES, "accept a sheet")
    sheet = _to(sheet, SheetState.ACCEPTED)
    sheet.accepted_at = now
    sheet.save(update_fields=["state", "accepted_at"])
    return sheet


@transaction.atomic
def replace_sheet(*, sheet: Sheet, state: SheetState, by: Person, now: datetime, note: str) -> Sheet:
    """Declares a sheet void or lost and makes the one that replaces it, with the same list, not issued.

    What its counters wrote in is no part of the list: nobody would find it on the new sheet to count it.
    """
    require(by, DECIDES, "replace a sheet")
    if state not in (SheetState.VOID, SheetState.LOST):
        raise CensusRefused("A sheet is replaced when it is void or lost.")
    if not note.strip():
        raise CensusRefused("Say why the sheet is replaced.")
    sheet = _to(sheet, state)
    new = Sheet.objects.create(
        census=sheet.census,
        number=_next_number(sheet),
        place=sheet.place,
        form=sheet.form,
        list_version=sheet.list_version,
    )
    new.counters.set(sheet.counters.all())
    for line in sheet.lines.exclude(kind=LineKind.WRITE_IN.value).prefetch_related("lots"):
        lots = list(line.lots.all())
        copy = Line.objects.get(pk=line.pk)
        copy.pk, copy.sheet, copy.added_at, copy.added_by = None, new, now, by
        copy._state.adding = True
        copy.save()
        copy.lots.set(lots)
    sheet.replaced_by = new
    sheet.note = note
    sheet.save(update_fields=["state", "replaced_by", "note"])
    return new


def _next_number(sheet: Sheet) -> str:
    """``CS-26Q3-07`` is replaced by ``CS-26Q3-07B``, that by ``-07C``."""
    last = sheet.number[-1]
    return sheet.number + "B" if last.isdigit() else sheet.number[:-1] + chr(ord(last) + 1)


def _to(sheet: Sheet, state: SheetState) -> Sheet:
    """The sheet as the database has it now, held for this transaction, in its new state (not saved)."""
    held = Sheet.objects.select_for_update().select_related("census").get(pk=sheet.pk)
    running(held.census)
    if not may_follow(SheetState(held.state), state):
        raise CensusRefused(f"The sheet {held.number} is {held.state}; it cannot become {state.value}.")
    held.state = state.value
    return held
