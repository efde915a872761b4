"""What made the records of a return differ: corrections, moves to other permits, events, sightings, names."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from django.db.models import Q

from inventory.book.models import Event, Flow
from inventory.book.queries.quantities import lots_that_share
from inventory.book.rules.happened import end_of_day
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.words import KIND_WORDS
from inventory.names.models import ReleaseAdoption

from ..models import LineLink, PermitReturn, PermitVersion, Sighting, Take, TakeEvent, Trip
from ..rules.return_changes import NAMES, Change

_OF_LEDGER = frozenset({"disposition", "numberIntoStock", "stockUnit", "organismID"})
_OF_PERMIT = frozenset({"permitLine", "permitLineNumber", "validOnTheDay", "permitNumber"})
# From one tank to another: what became of an animal is the same.
WITHIN = (EventKind.MOVED.value,)


@dataclass(frozen=True, slots=True)
class Cause:
    """What made a record differ: in words, when it was entered and by whom, and the page that shows it."""

    words: str
    at: datetime
    by: str
    page: str
    about: tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """One record that differs, with its causes."""

    change: Change
    causes: Sequence[Cause]


class Causes:
    """Finds what made records differ, for all of them at once."""

    def __init__(
        self, one: PermitReturn, changes: Sequence[Change], *, zone: tzinfo, until: datetime | None
    ) -> None:
        self.one = one
        self.changes = changes
        self.until = until
        self.takes = self._newer(Take.objects.select_related("entered_by", "permit", "trip"))
        self.trips = self._newer(Trip.objects.select_related("entered_by"))
        self.first_takes = self._first_of_new()
        self.ledger = self._ledger(zone)
        self.of_permit = list(self._permit())
        self.of_names = [
            Cause(
                f"the backbone's release {adoption.release} came into use",
                adoption.at,
                adoption.by.name if adoption.by else "",
                "names_review",
                (),
            )
            for adoption in self._since(ReleaseAdoption.objects.select_related("release", "by"), "at")
        ]

    def told(self) -> list[Told]:
        """Each change with its causes."""
        return [Told(change, self._of(change)) for change in self.changes]

    def _since(self, rows: Any, column: str) -> Any:
        rows = rows.filter(**{f"{column}__gt": self.one.frozen_at})
        return rows if self.until is None else rows.filter(**{f"{column}__lte": self.until})

    def _newer(self, rows: Any) -> dict[int, Any]:
        """Rows that replaced others, by what they replaced, with those before the return too."""
        found = rows.exclude(replaces=None)
        if self.until is not None:
            found = found.filter(entered_at__lte=self.until)
        return {row.replaces_id: row for row in found}

    def _first_of_new(self) -> Mapping[int, Take]:
        ids = [c.after.take_row for c in self.changes if c.before is None and c.after is not None]
        return Take.objects.select_related("entered_by", "permit", "trip", "replaces__permit").in_bulk(ids)

    def _ledger(self, zone: tzinfo) -> dict[int, list[Cause]]:
        """What came later and tells what became of a take's animals, by the take's row: events, and marked
        animals that were seen, or were not after all."""
        rows = {
            was.take_row for c in self.changes for was in (c.before, c.after) if was and _any(c, _OF_LEDGER)
        }
        lots = _lots_of_takes(rows)
        if not lots:
            return {}
        every = {lot for mine in lots.values() for lot in mine}
        events = Event.objects.select_related("entered_by").exclude(kind__in=WITHIN)
        events = events.filter(effective_at__lt=end_of_day(self.one.as_of, zone))
        events = events.filter(Q(entered_at__gt=self.one.frozen_at) | Q(recorded_at__gt=self.one.recorded_at))
        if self.until is not None:
            events = events.filter(entered_at__lte=self.until)
        of_lot: defaultdict[int, dict[Cause, None]] = defaultdict(dict)
        by_id = {event.pk: _of_event(event) for event in events.order_by("id")}
        for event, lot in _lots_of_events(by_id, every):
            of_lot[lot][by_id[event]] = None
        for lot, cause in self._seen(every, zone):
            of_lot[lot][cause] = None
        # What a pool has in common is told once.
        return {
            row: list({cause: None for lot in mine for cause in of_lot[lot]}) for row, mine in lots.items()
        }

    def _seen(self, lots: Collection[int], zone: tzinfo) -> Iterable[tuple[int, Cause]]:
        """Sightings of these lots that were entered later, or withdrawn. One query."""
        late = Q(entered_at__gt=self.one.frozen_at) | Q(withdrawn__at__gt=self.one.frozen_at)
        told = Sighting.objects.select_related("cell__lot", "permit", "entered_by", "withdrawn__by")
        told = told.filter(
            late, cell__lot__in=lots, effective_at__lt=end_of_day(self.one.as_of, zone)
        ).order_by("id")
        for seen in told:
            lot, words = seen.cell.lot, f"{seen.mark}, of {seen.permit.number}"
            page = ("lot_sources", (lot.accession,))
            if self._is_news(seen.entered_at):
                said = f"seen {seen.happened}: {words}"
                yield lot.pk, Cause(said, seen.entered_at, seen.entered_by.name, *page)
            taken_back = getattr(seen, "withdrawn", None)
            if taken_back is not None and self._is_news(taken_back.at):
                said = f"not seen {seen.happened} after all: {words}: {taken_back.why}"
                yield lot.pk, Cause(said, taken_back.at, taken_back.by.name, *page)

    def _is_news(self, at: datetime) -> bool:
        return at > self.one.frozen_at and (self.until is None or at <= self.until)

    def _permit(self) -> Iterable[Cause]:
        """Amendments and links that came later."""
        about = (self.one.permit_id,)
        versions = PermitVersion.objects.select_related("entered_by").filter(permit=self.one.permit_id)
        for version in self._since(versions, "entered_at"):
            words = f"version {version.number} of the permit: {version.why or version.get_kind_display()}"
            yield Cause(words, version.entered_at, version.entered_by.name, "permit", about)
        links = LineLink.objects.select_related("linked_by").filter(permit=self.one.permit_id)
        for link in self._since(links, "linked_at"):
            words = f"line {link.line_number} was linked anew{f': {link.why}' if link.why else ''}"
            where = (self.one.permit_id, link.line_number)
            yield Cause(words, link.linked_at, link.linked_by.name, "permit_link", where)

    def _of(self, change: Change) -> list[Cause]:
        causes = [*self._of_take(change), *self._of_trip(change)]
        if _any(change, _OF_LEDGER):
            was = change.before or change.after
            causes += self.ledger.get(was.take_row if was else 0, [])
        if not causes and _any(change, _OF_PERMIT):
            causes = list(self.of_permit)
        if not causes and _any(change, frozenset(NAMES)):
            causes = list(self.of_names)
        return causes

    def _of_take(self, change: Change) -> Iterable[Cause]:
        if change.before is None:
            row = self.first_takes.get(change.after.take_row if change.after else 0)
            if row is not None:
                moved = row.replaces is not None and row.replaces.permit_id != row.permit_id
                words = (
                    f"moved here from {row.replaces.permit.number}" if moved and row.replaces else "entered"
                )
                yield _of_row(row, f"{words}{f': {row.why}' if row.why else ''}")
            return
        at = change.before.take_row
        while (row := self.takes.get(at)) is not None:
            moved = row.permit_id != self.one.permit_id
            words = f"moved to {row.permit.number}" if moved else "corrected"
            yield _of_row(row, f"{words}: {row.why}")
            at = row.pk

    def _of_trip(self, change: Change) -> Iterable[Cause]:
        at = change.before.trip_row if change.before else 0
        while (row := self.trips.get(at)) is not None:
            words = f"what was written of the trip was corrected: {row.why}"
            yield Cause(words, row.entered_at, row.entered_by.name, "trip", (str(row.identifier),))
            at = row.pk


def _of_row(row: Take, words: str) -> Cause:
    return Cause(words, row.entered_at, row.entered_by.name, "trip", (str(row.trip.identifier),))


def _of_event(event: Event) -> Cause:
    words = f"{KIND_WORDS.get(event.kind, event.kind)} {event.happened}"
    return Cause(words, event.entered_at, event.entered_by.name, "event", (event.pk,))


def _any(change: Change, codes: frozenset[str]) -> bool:
    return any(cell.code in codes for cell in change.cells)


def _lots_of_takes(rows: Collection[int]) -> dict[int, set[int]]:
    """The lots that each take brought animals into, and all that share animals with them. Two queries."""
    brought: defaultdict[int, set[int]] = defaultdict(set)
    links = TakeEvent.objects.filter(take__in=rows).order_by()
    for take, lot in links.values_list("take_id", "event__flows__to_cell__lot_id"):
        if lot is not None:
            brought[take].add(lot)
    shared = lots_that_share({lot for lots in brought.values() for lot in lots}) if brought else {}
    return {take: {lot for one in lots for lot in shared[one]} for take, lots in brought.items()}


def _lots_of_events(events: Collection[int], lots: Collection[int]) -> list[tuple[int, int]]:
    """Which events touch which of the lots. One query."""
    flows = Flow.objects.filter(event__in=events).order_by()
    pairs = flows.values_list("event_id", "from_cell__lot_id", "to_cell__lot_id")
    found = {(event, lot): None for event, one, other in pairs for lot in (one, other) if lot in lots}
    return list(found)
