"""What has changed since a return was frozen: record by record, and which returns to look at again."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from django.db.models import F, Q

from inventory.book.models import Flow
from inventory.book.queries.quantities import lots_that_share
from inventory.book.rules.happened import end_of_day

from ..models import LineLink, PermitReturn, PermitVersion, ReturnRow, Sighting, Take
from ..rules.return_changes import Was, compare
from ..rules.statements import values_of
from .collection_records import collection_records
from .return_causes import WITHIN, Causes, Told
from .returns import was_of


@dataclass(frozen=True, slots=True)
class Since:
    """All that differs from a return: what is to be amended, and what only bears another name now."""

    changes: Sequence[Told] = ()
    names: Sequence[Told] = ()
    hidden: bool = False


def changed_since(
    one: PermitReturn, *, zone: tzinfo, hidden: Collection[int] = (), known_at: datetime | None = None
) -> Since:
    """Every record of a frozen return that says something else by now. A constant number of queries.

    Of a version that was amended: what had changed when the next was made.
    """
    following: PermitReturn | None = getattr(one, "amended_by", None)
    moment = known_at or (following.frozen_at if following else None)
    found = collection_records(
        one.permit, as_of=one.as_of, zone=zone, coarse=False, known_at=moment, hidden=hidden
    )
    if found.tells_of_hidden:
        return Since(hidden=True)
    now = {
        record.take: Was(0, values_of(record), read.take.pk, read.trip.pk)
        for record, read in zip(found.records, found.takes, strict=True)
        if one.starts_on <= read.trip.ends_on <= one.ends_on
    }
    changes = compare(was_of(one.rows.all()), now)
    told = Causes(one, changes, zone=zone, until=moment).told() if changes else []
    return Since(
        [each for each in told if each.change.to_amend], [each for each in told if not each.change.to_amend]
    )


@dataclass(frozen=True, slots=True)
class _Mark:
    """From when on what was entered is new to a return: since it was frozen, or somebody last looked."""

    said: datetime
    recorded: datetime

    def before(self, entered: datetime, recorded: datetime | None = None) -> bool:
        """True for what came later."""
        return entered > self.said or (recorded is not None and recorded > self.recorded)


def newest_returns() -> list[PermitReturn]:
    """The version of each return that stands, with what is needed to look whether it still does."""
    shown = PermitReturn.objects.select_related("permit__authority", "frozen_by", "amended_by")
    return list(shown.prefetch_related("looks", "sendings").filter(amended_by=None))


def to_look_at(returns: Sequence[PermitReturn], *, zone: tzinfo) -> set[int]:
    """Which of these returns something was entered for since they were frozen, or last looked at.

    A quick look for all at once: what was entered may in the end change no record, and
    :func:`changed_since` tells. Versions that were amended are past that. Eight queries.
    """
    marks = {one.pk: _mark(one) for one in returns if getattr(one, "amended_by", None) is None}
    standing = [one for one in returns if one.pk in marks]
    if not standing:
        return set()
    touched = {pk for pk, *moments in _corrected(standing) if marks[pk].before(*moments)}
    entered = list(_entered(standing))
    reported = _reported(standing, zone=zone)
    for one in standing:
        mark = marks[one.pk]
        if any(
            mark.before(*moments)
            for permit, day, *moments in entered
            if permit == one.permit_id and (day is None or one.starts_on <= day <= one.ends_on)
        ) or any(mark.before(*moments) for moments in reported[one.pk]):
            touched.add(one.pk)
    return touched


def _mark(one: PermitReturn) -> _Mark:
    looks = list(one.looks.all())
    return _Mark(
        max([one.frozen_at, *(look.at for look in looks)]),
        max([one.recorded_at, *(look.recorded_at for look in looks)]),
    )


def _corrected(returns: Sequence[PermitReturn]) -> Iterable[tuple[int, datetime, datetime]]:
    """Rows of takes and trips that were replaced since they stood in a return: always news. Two queries."""
    rows = ReturnRow.objects.filter(of_return__in=returns, withdrawn=False).order_by()
    for of in ("take_row", "trip_row"):
        replaced = rows.filter(**{f"{of}__replaced_by__isnull": False})
        columns = (f"{of}__replaced_by__entered_at", f"{of}__replaced_by__recorded_at")
        yield from replaced.values_list("of_return_id", *columns)


def _entered(returns: Sequence[PermitReturn]) -> Iterable[tuple[Any, ...]]:
    """Takes that came to a permit, its amendments and its links: by permit, with the day. Three queries."""
    permits = {one.permit_id for one in returns}
    since = min(one.frozen_at for one in returns)
    written = min(one.recorded_at for one in returns)
    late = Q(entered_at__gt=since) | Q(recorded_at__gt=written)
    takes = Take.objects.filter(late, permit__in=permits, replaced_by=None).order_by()
    fresh = takes.filter(Q(replaces=None) | ~Q(replaces__permit=F("permit")))
    yield from fresh.values_list("permit_id", "trip__ends_on", "entered_at", "recorded_at")
    versions = PermitVersion.objects.filter(permit__in=permits, entered_at__gt=since).order_by()
    for permit, at in versions.values_list("permit_id", "entered_at"):
        yield permit, None, at
    links = LineLink.objects.filter(permit__in=permits, linked_at__gt=since).order_by()
    for permit, at in links.values_list("permit_id", "linked_at"):
        yield permit, None, at


def _reported(returns: Sequence[PermitReturn], *, zone: tzinfo) -> dict[int, list[tuple[datetime, datetime]]]:
    """Of each return what the ledger was told later of its animals: entered and recorded. Three queries."""
    rows = ReturnRow.objects.filter(of_return__in=returns, withdrawn=False).order_by()
    brought = rows.values_list("of_return_id", "take_row__events__event__flows__to_cell__lot_id").distinct()
    lots_of: defaultdict[int, set[int]] = defaultdict(set)
    for pk, lot in brought:
        if lot is not None:
            lots_of[pk].add(lot)
    shared = lots_that_share({lot for lots in lots_of.values() for lot in lots})
    late = Q(event__entered_at__gt=min(one.frozen_at for one in returns)) | Q(
        event__recorded_at__gt=min(one.recorded_at for one in returns)
    )
    before = end_of_day(max(one.as_of for one in returns), zone)
    every = {lot for lots in shared.values() for lot in lots}
    flows = Flow.objects.filter(late, effective_at__lt=before).exclude(event__kind__in=WITHIN).order_by()
    flows = flows.filter(Q(from_cell__lot__in=every) | Q(to_cell__lot__in=every))
    told = list(
        flows.values_list(
            "from_cell__lot_id", "to_cell__lot_id", "effective_at", "event__entered_at", "event__recorded_at"
        )
    )
    told += _seen(every, since=min(one.frozen_at for one in returns))
    found: dict[int, list[tuple[datetime, datetime]]] = {}
    for one in returns:
        mine = {lot for first in lots_of[one.pk] for lot in shared[first]}
        ends = end_of_day(one.as_of, zone)
        found[one.pk] = [
            (entered, recorded)
            for source, target, at, entered, recorded in told
            if at < ends and (source in mine or target in mine)
        ]
    return found


def _seen(lots: Collection[int], *, since: datetime) -> list[tuple[int, int, datetime, datetime, datetime]]:
    """Marked animals of these lots that were seen, by what was entered or withdrawn since. One query."""
    late = Sighting.objects.filter(Q(entered_at__gt=since) | Q(withdrawn__at__gt=since), cell__lot__in=lots)
    rows = late.order_by().values_list("cell__lot_id", "effective_at", "entered_at", "withdrawn__at")
    return [
        (lot, lot, at, max(entered, withdrawn or entered), max(entered, withdrawn or entered))
        for lot, at, entered, withdrawn in rows
    ]
