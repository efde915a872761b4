"""What is missing of a return before it is sent, each with the page that mends it. Constant queries."""

from collections.abc import Iterable, Sequence
from datetime import date

from django.db.models import Q

from inventory.book.models import Event, Flow
from inventory.book.queries.quantities import lots_that_share
from inventory.book.rules.corrections import OWN_SLIP
from inventory.book.rules.kinds import EventKind
from inventory.names.models import CheckState, NameCheck

from ..models import Case, CaseKind, CorrectionApproval, Permit, Scope, Take, Trip
from ..questions import open_questions
from ..rules.return_checks import Check, Finding, Missing
from ..rules.scopes import line_for
from ..rules.statements import NUMBERS
from .reading import PermitRead, animal_of, read_permits
from .returns import Draft, DraftRow
from .takes import TakeRead

_FINE = frozenset({"species", "subspecies", "variety", "form", "infraspecies"})


def findings(draft: Draft, *, today: date) -> list[Finding]:
    """Every check of a return, met or not, in the order in which they are shown."""
    rows = draft.rows
    of_rows = {
        Check.NO_COORDINATES: [r for r in rows if r.record.position.latitude is None],
        Check.NO_PLACE: [r for r in rows if not r.record.position.locality],
        Check.NO_LINE: [r for r in rows if r.record.permit.line is None],
        Check.NOT_VALID: [r for r in rows if not r.record.permit.valid],
    }
    found = {check: [_row(draft, row) for row in wrong] for check, wrong in of_rows.items()}
    found[Check.TOTALS] = list(_totals(draft))
    found[Check.OPEN_NAME] = list(_open_names(draft))
    found[Check.UNAPPROVED] = unapproved([row.read for row in draft.rows])
    found[Check.OPEN_QUERY] = list(_questions(draft))
    found[Check.WRONG_PERMIT] = list(_wrong_permit(draft))
    cases = list(Case.objects.filter(permit=draft.permit, closed_at=None).select_related("trip"))
    over = [case for case in cases if case.kind == CaseKind.OVER_LIMIT]
    doubtful = [case for case in cases if case.kind == CaseKind.COORDINATES]
    found[Check.OVER_LIMIT] = [_case(case) for case in over]
    found[Check.DOUBTFUL_PLACE] = [_case(case) for case in doubtful]
    found[Check.OTHER_CASES] = [_case(case) for case in cases if case not in over + doubtful]
    found[Check.OUTSIDE_DATES] = [
        Missing(_called(read), "trip", (str(read.trip.identifier),)) for read in draft.outside
    ]
    found[Check.NOT_ENDED] = list(_not_over(draft, today))
    return [Finding(check, found[check]) for check in Check]


def _not_over(draft: Draft, today: date) -> Iterable[Missing]:
    """A day that is not over can still bring a take, or a death of what was taken."""
    asked = draft.asked
    if asked.ends_on >= today:
        words = f"the last day is {asked.ends_on}, today is {today}: more can be taken"
        yield Missing(words, "permit", (draft.permit.pk,))
    if asked.as_of >= today and not asked.nil:
        words = f"what became of them is told at the end of {asked.as_of}, today is {today}: more can come"
        yield Missing(words, "permit", (draft.permit.pk,))


def _called(read: TakeRead) -> str:
    take = read.take
    return f"{read.trip.ends_on}, {take.caught} {take.verbatim_identification}"


def _row(draft: Draft, row: DraftRow, words: str = "") -> Missing:
    said = _called(row.read) + (f": {words}" if words else "")
    return Missing(said, "trip", (str(row.read.trip.identifier),))


def _case(case: Case) -> Missing:
    return Missing(
        f"{case.get_kind_display()}, {case.trip.ends_on}: {case.last_words or case.words}", "case", (case.pk,)
    )


def _totals(draft: Draft) -> Iterable[Missing]:
    """Rows in and outside the dates are what the permit's page counts, line by line and unit by unit."""
    counted: dict[tuple[int | None, str], list[int]] = {}
    known = {line.number for line in draft.account.lines}
    since = draft.read.since
    for read in [row.read for row in draft.rows] + draft.outside:
        if read.trip.ends_on < since:
            continue
        take = read.take
        line = take.line_number if take.line_number in known else None
        mine = counted.setdefault((line, take.unit), [0, 0, 0, 0])
        for n, value in enumerate((take.caught, take.let_go, take.died, take.kept)):
            mine[n] += value
    page: dict[tuple[int | None, str], list[int]] = {}
    for row in draft.account.lines:
        unit = row.line.unit if row.line else (row.takes[0].take.unit if row.takes else "animal")
        used = row.used
        mine = page.setdefault((row.number, unit), [0, 0, 0, 0])
        for n, value in enumerate((used.caught, used.let_go, used.died, used.kept)):
            mine[n] += value
    for key in sorted({*counted, *page}, key=lambda k: (k[0] is None, k[0] or 0, k[1])):
        number, unit = key
        told = next((one for one in draft.account.lines if one.number == number), None)
        if told is not None and told.line is not None and unit != told.line.unit:
            # Shown on the page as caught in a unit that the limit does not count.
            same = told.used.other_units.get(unit, 0) == counted.get(key, [0])[0]
        else:
            same = counted.get(key, [0] * len(NUMBERS)) == page.get(key, [0] * len(NUMBERS))
        if not same:
            words = told.words if told else "no line of the permit"
            yield Missing(
                f"“{words}”: {counted.get(key, [0])[0]} in the rows, {page.get(key, [0])[0]} on the page",
                "permit",
                (draft.permit.pk,),
            )


def _open_names(draft: Draft) -> Iterable[Missing]:
    """Names that wait for a person, or that are of a genus or above where the line is of one kind."""
    taxa = {row.read.take.taxon_id for row in draft.rows}
    waiting = NameCheck.objects.filter(taxon__in=taxa, state=CheckState.TO_REVIEW)
    reviews = dict(waiting.values_list("taxon_id", "id"))
    for row in draft.rows:
        take, name = row.read.take, row.record.name
        link = draft.read.links.get(take.line_number or 0)
        of_one_kind = link is None or link.scope == Scope.TAXON
        if not name.scientific_name:
            review = reviews.get(take.taxon_id or 0)
            said = f"{_called(row.read)}: nobody has decided the name"
            if review is None:
                yield _row(draft, row, "nobody has decided the name")
            else:
                yield Missing(said, "name_review", (review,))
        elif of_one_kind and name.rank and name.rank.lower() not in _FINE:
            yield _row(draft, row, f"{name.scientific_name} is a {name.rank}, the line is of one kind")


def unapproved(read: Sequence[TakeRead]) -> list[Missing]:
    """Rows that replaced others and that nobody else has agreed with. Five queries, none where none did.

    A slip of the pen, mended by its own author within ten minutes, needs nobody; so does a correction
    whose every step in the ledger bears a second name.
    """
    return list(_unapproved(read)) if any(r.take.replaces_id or r.trip.replaces_id for r in read) else []


def _unapproved(read: Sequence[TakeRead]) -> Iterable[Missing]:
    takes = [row.take for row in read if row.take.replaces_id]
    trips = {row.trip.pk: row.trip for row in read if row.trip.replaces_id}
    old_takes = Take.objects.in_bulk([take.replaces_id for take in takes if take.replaces_id])
    old_trips = Trip.objects.in_bulk([trip.replaces_id for trip in trips.values() if trip.replaces_id])
    agreed = CorrectionApproval.objects.filter(Q(take__in=takes) | Q(trip__in=trips)).values_list(
        "take_id", "trip_id"
    )
    agreed_takes, agreed_trips = {a for a, _ in agreed}, {b for _, b in agreed}
    signed = _signed_in_the_ledger(takes)
    reads = {row.take.pk: row for row in read}
    for take in takes:
        old = old_takes[take.replaces_id or 0]
        if take.pk in agreed_takes or take.pk in signed or _own_slip(old, take):
            continue
        words = f"{_called(reads[take.pk])}, corrected by {take.entered_by.name}: {take.why}"
        trip = reads[take.pk].trip
        yield Missing(words, "trip", (str(trip.identifier),), ("take", take.pk), take.entered_by_id)
    for pk, trip in trips.items():
        if pk in agreed_trips or _own_slip(old_trips[trip.replaces_id or 0], trip):
            continue
        words = f"trip of {trip.ends_on}, corrected by {trip.entered_by.name}: {trip.why}"
        yield Missing(words, "trip", (str(trip.identifier),), ("trip", pk), trip.entered_by_id)


def _own_slip(old: Take | Trip, new: Take | Trip) -> bool:
    return old.entered_by_id == new.entered_by_id and new.entered_at - old.entered_at <= OWN_SLIP


def _signed_in_the_ledger(takes: Sequence[Take]) -> set[int]:
    """Takes whose events were taken back for the correction with a second name. One query."""
    before = {take.replaces_id: take.pk for take in takes}
    found = Event.objects.filter(kind=EventKind.REVERSED, reverses__takes__take__in=before)
    signed: dict[int, bool] = {}
    for old, approved in found.values_list("reverses__takes__take_id", "approved_by_id"):
        if old in before:
            signed[before[old]] = signed.get(before[old], True) and approved is not None
    return {pk for pk, all_of in signed.items() if all_of}


def _questions(draft: Draft) -> Iterable[Missing]:
    """What other rooms still ask about these animals, or about those that they share a pool with."""
    events = [event for row in draft.rows for event in row.read.event_ids]
    lots = set(Flow.objects.filter(event__in=events).order_by().values_list("to_cell__lot_id", flat=True))
    lots = {lot for shared in lots_that_share(lots).values() for lot in shared}
    for words, page, about in dict.fromkeys((q.words, q.page, q.about) for q in open_questions(lots)):
        yield Missing(words, page, about)


def _wrong_permit(draft: Draft) -> Iterable[Missing]:
    """Takes of a day on which another permit held that covers the animal, and this one did not."""
    wrong = [row for row in draft.rows if row.read.take.taxon and not row.record.permit.valid]
    if not wrong:
        return
    others = list(Permit.objects.exclude(pk=draft.permit.pk))
    reads = read_permits(others, on=draft.asked.as_of)
    for row in wrong:
        other = _that_holds(row, reads.values())
        if other is not None:
            words = f"{_called(row.read)}: {other.permit.number} held that day and covers it"
            yield Missing(words, "take_move", (row.read.take.pk,))


def _that_holds(row: DraftRow, reads: Iterable[PermitRead]) -> PermitRead | None:
    taxon = row.read.take.taxon
    if taxon is None:
        return None
    for read in reads:
        holds = read.first_valid_from <= row.read.trip.starts_on
        if (
            holds
            and row.read.trip.ends_on <= read.version.valid_until
            and line_for(animal_of(taxon), read.covers)
        ):
            return read
    return None
