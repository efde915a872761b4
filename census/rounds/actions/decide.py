"""Settles lines: posts what has to be posted, and keeps who decided, on what, and why."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo

from django.db import transaction
from django.db.models import Q

from inventory.book.actions.post import LedgerRefused, post_events
from inventory.book.models import Event, Lot
from inventory.db.locks import serialize_writers
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import Census, Decision, Line
from ..queries.approvers import has_role, on_permit_or_loan, tank_figures
from ..queries.reading import LineRead, Row, held_numbers, read_rows
from ..queries.settings import settings_of
from ..rules.approval import AdjustmentCase, ApprovalNeeded, approval_needed, barred_from_approving
from ..rules.reasons import BY_NAME
from ..rules.settings import CensusSettings
from ..rules.settling import LineFacts, Settling, change_of_book, check, drafts
from ..rules.words import CensusState, How, LineKind, Verdict
from .moving import move_census, running
from .refused import CensusRefused

# Settling begins when the counts have been compared; a reopened census is settled again.
_MAY_DECIDE = (CensusState.COMPARING, CensusState.SETTLING, CensusState.WAITING, CensusState.REOPENED)


@dataclass(frozen=True, slots=True)
class Names:
    """Whose names stand under a decision beside the one who enters it."""

    approved_by: Person | None = None
    countersigned_by: Person | None = None


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
    settling = _aimed(settling, other_line)
    stated = settling.fingerprint(*(person.name for person in (approved_by, countersigned_by) if person))
    row, part = _read(census, [line], settings)[0]
    earlier = next((d for d in part.decisions if d.stated == stated), None)
    if earlier is not None and not row.reopened:
        return earlier  # a form sent twice; also when the line stays open, for only a part is explained
    problems = _problems(census, row, part, settling, by)
    problems += _against_direction(part, settling, other_line)
    problems += _approval_problems(row, settling, by, names, settings)
    if problems:
        raise CensusRefused(*(f"{line}: {problem}" for problem in problems))
    events = _post(part, settling, by=by, names=names, now=now, zone=zone)
    lines = [line] if other_line is None else [line, other_line]
    _list_what_came(lines, events)
    change = change_of_book(settling)
    decisions = [
        _keep(row, part, settling, n=n, stated=stated, events=events, by=by, names=names, now=now)
        for (row, part), n in zip(_read(census, lines, settings), (change, -change), strict=False)
    ]
    if census.state != CensusState.REOPENED:
        move_census(census, CensusState.SETTLING)
    return decisions[0]


def _approval_for(row: Row, settling: Settling, settings: CensusSettings) -> ApprovalNeeded:
    """Whose approval this settling of this row needs; nobody's unless it is an adjustment."""
    if settling.how is not How.ADJUSTMENT or row.latest is None:
        return ApprovalNeeded()
    reason = BY_NAME.get(settling.reason.strip().lower())
    unexplained = reason is not None and reason.unknown_cause
    line = row.line
    held, lost = tank_figures(line.sheet.census, line.place_id, line.unit) if unexplained else (0, 0)
    before = _adjusted_before(row, settling.n, unexplained=unexplained)
    return approval_needed(
        AdjustmentCase(
            count_class=row.line.count_class,
            n=abs(settling.n + before),
            book=row.latest.book - before,
            unexplained=unexplained,
            permit_or_loan=row.line.count_class == "A"
            and on_permit_or_loan(lot for part in row.parts for lot in part.lots),
            tank_held=held,
            tank_unexplained_loss=lost - settling.n,
        ),
        settings,
    )


def _adjusted_before(row: Row, n: int, *, unexplained: bool) -> int:
    """What earlier adjustments of the row moved the book the same way as ``n``, with its sign.

    A limit that began anew with each decision would be none.
    """
    earlier = [d for part in row.parts for d in part.decisions if d.how == How.ADJUSTMENT and d.n * n > 0]
    return sum(d.n for d in earlier if not unexplained or BY_NAME[d.reason].unknown_cause)


def _read(census: Census, lines: Sequence[Line], settings: CensusSettings) -> list[tuple[Row, LineRead]]:
    """Each line's row, and the line's part of it, as they are now."""
    wanted = Q(pk__in=[line.pk for line in lines])
    wanted |= Q(joined_key__in=[line.joined_key for line in lines if line.joined_key])
    rows = read_rows(census, Line.objects.filter(wanted), settings=settings)
    parts = {part.line.pk: (row, part) for row in rows for part in row.parts}
    for line in lines:
        if line.pk not in parts:
            raise CensusRefused(f"{line} belongs to another census.")
    return [parts[line.pk] for line in lines]


def _problems(census: Census, row: Row, part: LineRead, settling: Settling, by: Person) -> list[str]:
    """What stands against this decision, whoever approves it."""
    problems = []
    if census.state not in _MAY_DECIDE:
        problems.append(f"the census is {census.state}; compare the counts first")
    if not (has_role(by, Role.REGISTRAR) or has_role(by, Role.CURATOR)):
        problems.append(f"{by.name} is neither registrar nor curator")
    if by.pk in _counted_by(row):
        problems.append(f"{by.name} counted this line; who counts does not decide")
    problems += check(settling)
    problems += _against_the_count(row, part, settling)
    if settling.owner and not Person.objects.filter(name=settling.owner).exists():
        problems.append(f"nobody here is called {settling.owner!r}")
    return problems


def _against_the_count(row: Row, part: LineRead, settling: Settling) -> list[str]:
    """What the line's counts say against the way it is to be settled."""
    needs_count = settling.how in (
        How.ADJUSTMENT,
        How.COUNT_STANDS,
        How.CHANGE_OF_NAME,
        How.REGROUP,
        How.MISSING,
    )
    if part.latest is None:
        return ["the line is not counted"] if needs_count else []
    if settling.how is How.COUNT_STANDS:
        return _against_standing(row)
    return _against_adjusting(row, part, settling) if settling.how is How.ADJUSTMENT else []


def _against_direction(part: LineRead, settling: Settling, other: Line | None) -> list[str]:
    """Animals leave the line on which a late move is stated; a line with too many has not given any.

    Only where the other line is named: to take a pair of differences the wrong way round doubles both.
    """
    if settling.how not in (How.LATE_MOVE, How.CHANGE_OF_NAME) or other is None or part.latest is None:
        return []
    joined = bool(other.joined_key) and other.joined_key == part.line.joined_key
    if joined or part.latest.value is None:
        return []
    above = part.latest.value - part.present(part.latest.round)
    if above <= 0:
        return []
    return [
        f"the count is {above} above the book, and a {settling.how.words} takes animals away from the "
        f"line on which it is stated: state it on {other}, with {part.line} as the other line"
    ]


def _against_standing(row: Row) -> list[str]:
    if row.latest is not None and row.latest.verdict is Verdict.OUTSIDE:
        return [f"the count lies outside tolerance ({row.latest.difference:+d}): say what became of them"]
    if row.book_must_move:
        return ["a class B count that a second one confirmed moves the book: adjust, or say what happened"]
    return []


def _against_adjusting(row: Row, part: LineRead, settling: Settling) -> list[str]:
    if row.latest is None or row.latest.difference is None:
        return ["there is no number to adjust to"]
    problems = []
    difference, count_class = row.latest.difference, row.line.count_class
    if settling.n * difference <= 0 or abs(settling.n) > abs(difference):
        problems.append(f"the difference is {difference:+d}; {settling.n:+d} does not lead to the count")
    if part.latest is not None and part.latest.at_least and settling.n < 0:
        problems.append('"at least" is no proof of a loss; count again by another method')
    if count_class in ("A", "B") and not row.confirmed:
        problems.append("only one count; a second one must confirm it before the book moves")
    inside = row.latest.verdict is Verdict.INSIDE
    if count_class == "C" and inside and not (settling.drift and settling.evidence):
        problems.append(
            "a class C count inside its error does not move the book, unless three censuses in a row "
            "lie on the same side: say so (drift) and name them as evidence"
        )
    return problems


def _approval_problems(
    row: Row, settling: Settling, by: Person, names: Names, settings: CensusSettings
) -> list[str]:
    needed = _approval_for(row, settling, settings)
    problems = []
    because = "; ".join(needed.why)
    typed = _typed_by(row)
    if needed.curator and not (names.approved_by and has_role(names.approved_by, Role.CURATOR)):
        problems.append(f"the curator's approval is needed: {because}")
    elif settling.how is How.ADJUSTMENT and by.pk in typed and names.approved_by is None:
        problems.append(f"{by.name} typed this line; another person must approve the adjustment")
    if needed.permit_officer and not (
        names.countersigned_by and has_role(names.countersigned_by, Role.PERMIT_OFFICER)
    ):
        problems.append(f"the permit officer's countersign is needed: {because}")
    if needed.note and not settling.note:
        problems.append(f"a note is needed: {because}")
    for person in (names.approved_by, names.countersigned_by):
        if person is None:
            continue
        barred = barred_from_approving(person.pk, counted=_counted_by(row), typed=typed, entered=by.pk)
        if barred:
            problems.append(f"{person.name} may not approve: {person.name} {barred}")
    return problems


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


def _aimed(settling: Settling, other: Line | None) -> Settling:
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


def _counted_by(row: Row) -> set[int]:
    counts = [c for part in row.parts for c in (*part.counts.values(), *part.typed_before)]
    return {count.counter_id for count in counts if count.counter_id is not None}


def _typed_by(row: Row) -> set[int]:
    return {c.typed_by_id for part in row.parts for c in (*part.counts.values(), *part.typed_before)}
