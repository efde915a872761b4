"""Posts the events of a load, chunk by chunk, through the ledger's one writer."""

from collections.abc import Iterator, Sequence
from datetime import datetime, tzinfo
from itertools import islice
from uuid import UUID

from ...models import Event
from ...rules.drafts import DraftLine, EventDraft, Numbers, Problem, identifier_of
from ...rules.happened import parse_happened
from ...rules.kinds import EventKind
from ...rules.sheets import EVENTS
from ..post import LedgerRefused, post_events
from .people import register_people
from .report import LoadReport, Progress
from .spool import EventLine, Spool, SpooledEvent

CHUNK = 2_000
# A refused event may leave others of its chunk without animals; after so many tries it is enough.
_TRIES = 5
_LONGEST_EVIDENCE = 300


class Posting:
    """One load's events on their way into the book.

    A refused event is left out and the rest is tried again, so that the problems of all chunks come
    to light; the caller takes everything back when there is one.
    """

    def __init__(self, report: LoadReport, *, source_name: str, by: str, now: datetime, zone: tzinfo) -> None:
        self._report = report
        self._source_name = source_name
        self._by = by
        self._now = now
        self._zone = zone
        # Lots of refused events: what is wrong with later events may only follow from that.
        self._refused_at: dict[str, str] = {}

    def post_all(self, spool: Spool, progress: Progress) -> None:
        """Posts what waits in ``spool``."""
        total = spool.event_count()
        done = 0
        events = spool.events()
        while chunk := list(islice(events, CHUNK)):
            self._post(self._drafts(chunk))
            done += len(chunk)
            progress("posting events", done, total)

    def mark_refused(self, accession: str, origin: str) -> None:
        """Tells that an event of this lot was refused before posting."""
        self._refused_at.setdefault(accession, origin)
        self._report.refused_lots.setdefault(accession)

    def _drafts(self, events: Sequence[SpooledEvent]) -> list[EventDraft]:
        identifiers = {event.ref: identifier_of(event.ref) for event in events}
        stated = _stated_before(list(identifiers.values()))
        if any(not event.head.entered_by and identifiers[event.ref] not in stated for event in events):
            register_people([self._by], self._report)
        drafts = []
        for event in events:
            identifier = identifiers[event.ref]
            # Who loads, and from which file, is not said by the row: a second load by somebody
            # else, from a copy, brings the same event.
            nobody = (self._by, f"{self._source_name}, {EVENTS.origin(event.row)}"[:_LONGEST_EVIDENCE])
            by, evidence = stated.get(identifier, nobody)
            drafts.append(_draft(event, identifier, by=event.head.entered_by or by, evidence=evidence))
        return drafts

    def _post(self, drafts: list[EventDraft]) -> None:
        tally = self._report.tally(EVENTS.name)
        for _ in range(_TRIES):
            try:
                posted = post_events(drafts, now=self._now, zone=self._zone)
            except LedgerRefused as refused:
                drafts = list(self._without_refused(drafts, refused.problems))
            else:
                already = sum(answer.already for answer in posted)
                tally.already_there += already
                tally.new += len(posted) - already
                return

    def _without_refused(
        self, drafts: Sequence[EventDraft], problems: Sequence[Problem]
    ) -> Iterator[EventDraft]:
        """Notes the problems of a chunk; gives the drafts that have none."""
        for problem in problems:
            draft = drafts[problem.draft]
            lots = _lots_of(draft)
            earlier = next((self._refused_at[lot] for lot in lots if lot in self._refused_at), "")
            hint = f" (perhaps only because of {earlier})" if earlier not in ("", problem.origin) else ""
            column = (
                "males, females, hermaphrodites, unknown" if problem.column == "numbers" else problem.column
            )
            origin = problem.origin or draft.origin
            self._report.refuse(Problem(problem.draft, origin, column, problem.message + hint))
            for lot in lots:
                self.mark_refused(lot, origin)
        refused = {problem.draft for problem in problems}
        return (draft for index, draft in enumerate(drafts) if index not in refused)


def _stated_before(identifiers: Sequence[UUID]) -> dict[UUID, tuple[str, str]]:
    """Who entered the events that are in the book already, and the evidence they were given."""
    known = Event.objects.filter(identifier__in=identifiers)
    return {
        identifier: (name, evidence)
        for identifier, name, evidence in known.values_list("identifier", "entered_by__name", "evidence")
    }


def _draft(event: SpooledEvent, identifier: UUID, *, by: str, evidence: str) -> EventDraft:
    head = event.head
    return EventDraft(
        identifier=identifier,
        kind=EventKind(head.kind),
        happened=parse_happened(head.happened),
        entered_by=by,
        lines=tuple(_line(row, line) for row, line in event.lines),
        ref=event.ref,
        entered_at=datetime.fromisoformat(head.entered) if head.entered else None,
        party=head.party,
        permit_number=head.permit,
        cause=head.cause,
        reason=head.reason,
        evidence=evidence,
        note=head.note,
        reverses=identifier_of(head.reverses) if head.reverses else None,
        at_least=head.at_least,
        at_most=head.at_most,
        origin=EVENTS.origin(event.row),
    )


def _line(row: int, line: EventLine) -> DraftLine:
    return DraftLine(
        lot=line.accession,
        place=line.place,
        numbers=Numbers(line.males, line.females, line.hermaphrodites, line.unknown),
        stage=line.stage,
        to_place=line.to_place,
        to_lot=line.to_accession,
        from_sex=line.from_sex,
        to_sex=line.to_sex,
        to_stage=line.to_stage,
        origin=EVENTS.origin(row),
    )


def _lots_of(draft: EventDraft) -> list[str]:
    return [lot for line in draft.lines for lot in (line.lot, line.to_lot) if lot]
