"""Settles lines: posts what has to be posted, and keeps who decided, on what, and why."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta, tzinfo

from django.db import transaction
from django.db.models import Q

from inventory.book.actions.post import LedgerRefused, post_events
from inventory.book.models import Event, Lot
from inventory.db.locks import serialize_writers
from inventory.people.models import Person

from ..models import Census, Decision, Line
from ..queries.reading import LineRead, Row, held_numbers, read_rows
from ..queries.settings import settings_of
from ..rules.reasons import BY_NAME
from ..rules.settings import CensusSettings
from ..rules.settling import LineFacts, Settling, change_of_book, drafts
from ..rules.words import CensusState, How, LineKind
from .against import Names, problems_with
from .moving import move_census, running
from .refused import CensusRefused
from .telling import end_searches


@transaction.atomic
def decide_line(
    *,
    line: Line,
    settling: Settling,
    by: Person,
    now: datetime,
    zone: tzinfo,
    approved_by: Person | None = None,
    countersigned_by: Person | None = None,
    other_line: Line | None = None,
    settings: CensusSettings | None = None,
) -> Decision:
    """Settles ``line`` as stated by ``by`` and posts the events of it, at their true dates.

    ``approved_by`` is the curator and ``countersigned_by`` the permit officer, where the rules
    ask for them. ``other_line``: the line that gets the animals of a late move or a change of
    name; both lines are settled by one event. Stating the same again while the line is settled
    gives the first decision. Raises :class:`CensusRefused`, also when the ledger refuses.
    """
    serialize_writers()
    census = running(line.sheet.census)
    settings = settings or settings_of(census)
    names = Names(approved_by, countersigned_by)
    settling = aimed(settling, other_line)
    stated = settling.fingerprint(*(person.name for person in (approved_by, countersigned_by) if person))
    row, part = read_lines(census, [line], settings)[0]
    earlier = next((d for d in part.decisions if d.stated == stated), None)
    if earlier is not None and not row.reopened:
        return earlier  # a form sent twice; also when the line stays open, for only a part is explained
    problems = problems_with(
        census,
        row,
        part,
        settling,
        by=by,
        names=names,
        other_line=other_line,
        settings=settings,
        today=now.astimezone(zone).date(),
    )
    if problems:
        raise CensusRefused(*(f"{line}: {problem}" for problem in problems))
    events = _post(part, settling, by=by, names=names, now=now, zone=zone)
    lines = [line] if other_line is None else [line, other_line]
    _list_what_came(lines, events)
    change = change_of_book(settling)
    decisions = [
        _keep(row, part, settling, n=n, stated=stated, events=events, by=by, names=names, now=now)
        for (row, part), n in zip(read_lines(census, lines, settings), (change, -change), strict=False)
    ]
    if census.state != CensusState.REOPENED:
        move_census(census, CensusState.SETTLING)
    end_searches(lines, by=by, now=now, zone=zone)
    return decisions[0]


def read_lines(census: Census, lines: Sequence[Line], settings: CensusSettings) -> list[tuple[Row, LineRead]]:
    """Each line's row, and the line's part of it, as they are now."""
    wanted = Q(pk__in=[line.pk for line in lines])
    wanted |= Q(joined_key__in=[line.joined_key for line in lines if line.joined_key])
    rows = read_rows(census, Line.objects.filter(wanted), settings=settings)
    parts = {part.line.pk: (row, part) for row in rows for part in row.parts}
    for line in lines:
        if line.pk not in parts:
            raise CensusRefused(f"{line} belongs to another census.")
    return [parts[line.pk] for line in lines]


def _post(
    part: LineRead, settling: Settling, *, by: Person, names: Names, now: datetime, zone: tzinfo
) -> list[Event]:
    moment = part.latest.counted_at if part.latest else now
    # What a count after the cut-off brings to light belongs to the period that is being closed.
    moment = min(moment, part.line.sheet.census.cutoff - timedelta(minutes=1))
    facts = LineFacts(
        ref=str(part.line),
        place=part.line.place.code,
        lots=tuple(lot.accession for lot in part.lots),
        individuals=part.line.kind == LineKind.INDIVIDUALS
        or (part.line.kind == LineKind.LETTER and all(lot.kind == "individual" for lot in part.lots)),
        counted_at=moment.astimezone(zone).replace(tzinfo=None),
    )
    approver = names.approved_by.name if names.approved_by else ""
    try:
        posted = post_events(
            drafts(
                settling,
                facts,
                decision=len(part.decisions) + 1,
                entered_by=by.name,
                approved_by=approver,
            ),
            now=now,
            zone=zone,
        )
    except (LedgerRefused, ValueError) as error:
        raise CensusRefused(*str(error).splitlines()) from error
    return list(Event.objects.filter(pk__in=[one.event_id for one in posted]))


def aimed(settling: Settling, other: Line | None) -> Settling:
    """Fills in from the other line where a move went, or which lot the animals belong to."""
    if other is None:
        return settling
    if settling.how not in (How.LATE_MOVE, How.CHANGE_OF_NAME):
        raise CensusRefused(f"{settling.how.words} concerns one line; {other} has nothing to do with it.")
    if settling.how is How.LATE_MOVE:
        return replace(settling, to_place=settling.to_place or other.place.code)
    if settling.to_accession:
        return settling
    lots = list(other.lots.values_list("accession", flat=True))
    if len(lots) != 1:
        raise CensusRefused(f"{other} has {len(lots)} lots; say to which one (to_accession).")
    return replace(settling, to_accession=lots[0])


def _list_what_came(lines: Sequence[Line], events: Sequence[Event]) -> None:
    """Puts on its line every lot that the events brought to the line's place, if no other line has it.

    So a move into a tank, or the other one of two individuals that were taken for each other, is
    part of what the line counts.
    """
    for line in lines:
        came = Lot.objects.filter(
            taxon=line.taxon_id, unit=line.unit, cells__account__place=line.place_id, cells__inside=True
        ).filter(Q(cells__flows_in__event__in=events) | Q(cells__flows_out__event__in=events))
        listed = Lot.objects.filter(
            census_lines__place=line.place_id, census_lines__sheet__census=line.sheet.census_id
        )
        line.lots.add(*came.exclude(pk__in=listed.values("pk")).distinct())


def _keep(
    row: Row,
    part: LineRead,
    settling: Settling,
    *,
    n: int,
    stated: str,
    events: Sequence[Event],
    by: Person,
    names: Names,
    now: datetime,
) -> Decision:
    """Writes the decision, with the book and the count as they are now that its events are posted."""
    reason = BY_NAME.get(settling.reason.strip().lower())
    book, counted = held_numbers(row.latest)
    decision = Decision.objects.create(
        line=part.line,
        how=settling.how.value,
        reason=reason.name if reason else "",
        reason_group=reason.group.value if reason else "",
        n=n,
        stated=stated,
        book=book,
        counted=counted,
        decided_by=by,
        decided_at=now,
        approved_by=names.approved_by,
        countersigned_by=names.countersigned_by,
        evidence=settling.evidence,
        note=settling.note,
        owner=Person.objects.filter(name=settling.owner).first() if settling.owner else None,
        due_on=settling.due,
    )
    decision.events.add(*events)
    return decision
