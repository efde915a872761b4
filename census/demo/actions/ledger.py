"""Posts two years of events, and closes each quarter when it was closed."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta, tzinfo
from functools import partial
from itertools import groupby

from inventory.book.actions.close import close_period
from inventory.book.actions.flags import settle_flag
from inventory.book.actions.post import post_events
from inventory.book.models import Flag, Period
from inventory.book.models.flags import FlagKind
from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers, identifier_of
from inventory.book.rules.happened import parse_happened
from inventory.book.rules.kinds import EventKind
from inventory.people.models import Person

from ..rules.fixtures import Quarter, Row, read_quarters
from ..rules.history import History
from .releases import adopt_second_release, adopted_at

CURATOR = "Dr Osric Fennadale"
Progress = Callable[[str], None]


def make_periods() -> None:
    """All quarters of the fixture, and the calendar years that they fill."""
    quarters = read_quarters()
    periods = [Period(code=q.code, starts_on=q.starts, ends_on=q.ends) for q in quarters]
    for year, in_year in groupby(quarters, key=lambda quarter: quarter.starts.year):
        whole = list(in_year)
        if len(whole) == 4:
            periods.append(Period(code=str(year), starts_on=whole[0].starts, ends_on=whole[-1].ends))
    Period.objects.bulk_create(periods)


def post_history(history: History, *, now: datetime, zone: tzinfo, progress: Progress) -> int:
    """Posts the events in order of entry, chunk by chunk between closings; answers how many.

    In between the registrar adopts a release of the backbone.
    """
    waiting = drafts_of(history.events, history.accessions, zone)
    posted = 0
    for moment, do in _milestones(zone):
        chunk = [draft for draft in waiting if draft.entered_at and draft.entered_at <= moment]
        waiting = waiting[len(chunk) :]
        posted += _post(chunk, now=moment, zone=zone)
        progress(do())
    posted += _post(waiting, now=now, zone=zone)
    progress("the running quarter")
    return posted


def _post(drafts: Sequence[EventDraft], *, now: datetime, zone: tzinfo) -> int:
    """Posts in order of entry; a batch ends with each correction.

    The writer books a batch in order of happening: an individual that is taken back and entered
    again in one batch would be there twice for a moment.
    """
    batch: list[EventDraft] = []
    posted = 0
    for draft in drafts:
        batch.append(draft)
        if draft.kind is EventKind.REVERSED:
            posted += len(post_events(batch, now=now, zone=zone))
            batch = []
    return posted + len(post_events(batch, now=now, zone=zone))


def drafts_of(rows: Sequence[Row], accessions: Mapping[str, str], zone: tzinfo) -> list[EventDraft]:
    """One draft for each ``ref``, its rows as lines, in the order of ``rows``."""
    by_ref: dict[str, list[Row]] = {}
    for row in rows:
        by_ref.setdefault(row.ref, []).append(row)
    return [_draft(lines, accessions, zone) for lines in by_ref.values()]


def _draft(rows: Sequence[Row], accessions: Mapping[str, str], zone: tzinfo) -> EventDraft:
    head = rows[0]
    return EventDraft(
        identifier=identifier_of(head.ref),
        ref=head.ref,
        kind=EventKind(head.kind),
        happened=parse_happened(head.happened),
        entered_by=head.entered_by,
        entered_at=datetime.fromisoformat(head.entered).replace(tzinfo=zone),
        lines=tuple(_line(row, accessions) for row in rows if row.lot),
        approved_by=head.approved_by,
        device=head.device,
        party=head.party,
        permit_number=head.permit,
        cause=head.cause,
        reason=head.reason,
        evidence=head.evidence,
        note=head.note,
        reverses=identifier_of(head.reverses) if head.reverses else None,
        origin=head.ref,
    )


def _line(row: Row, accessions: Mapping[str, str]) -> DraftLine:
    return DraftLine(
        lot=accessions[row.lot],
        place=row.place,
        numbers=Numbers(*row.by_sex),
        to_place=row.to_place,
        to_lot=accessions[row.to_lot] if row.to_lot else "",
    )


def _milestones(zone: tzinfo) -> list[tuple[datetime, Callable[[], str]]]:
    """The closings and the adoption of a release, in order of time, each with what is done then."""
    adoption = adopted_at(zone)
    closings: list[tuple[datetime, Callable[[], str]]] = [
        (moment, partial(_close, quarter, moment, zone)) for moment, quarter in _closings(zone)
    ]
    adopting = (adoption, partial(adopt_second_release, now=adoption))
    return sorted([*closings, adopting], key=lambda milestone: milestone[0])


def _closings(zone: tzinfo) -> Iterator[tuple[datetime, Quarter]]:
    """Every closing of every quarter, first and second versions, in order of time."""
    moments = [
        (moment.replace(tzinfo=zone), quarter)
        for quarter in read_quarters()
        for moment in (quarter.closed_at, quarter.reclosed_at)
        if moment is not None
    ]
    yield from sorted(moments, key=lambda pair: pair[0])


def _close(quarter: Quarter, moment: datetime, zone: tzinfo) -> str:
    """Closes the periods that end with ``quarter``; answers the versions in words."""
    curator = Person.objects.get(name=CURATOR)
    first = quarter.closed_at is not None and moment == quarter.closed_at.replace(tzinfo=zone)
    note = "" if first else "restated: a late entry reached the limit"
    versions = [
        close_period(period, closed_at=moment, signed_by=curator, note=note, zone=zone)
        for period in Period.objects.filter(ends_on=quarter.ends, starts_on__lte=quarter.starts)
    ]
    if not first:
        # The restatement is the answer to what the late entry had asked.
        for flag in Flag.objects.filter(kind=FlagKind.LATE_ENTRY, settled_at=None):
            settle_flag(flag, by=curator, now=moment + timedelta(minutes=5))
    return ", ".join(str(version) for version in versions)
