"""What stands against a decision about a line: its counts, its direction, other censuses, approval."""

from dataclasses import dataclass, replace
from datetime import date

from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import Census, Line
from ..queries.approvers import has_role, on_permit_or_loan, tank_figures
from ..queries.reading import LineRead, Row, read_rows
from ..queries.runs import runs_of
from ..rules.approval import AdjustmentCase, ApprovalNeeded, approval_needed, barred_from_approving
from ..rules.reasons import BY_NAME
from ..rules.runs import contradicts_drift, write_off_from
from ..rules.settings import CensusSettings
from ..rules.settling import Settling, check
from ..rules.words import CensusState, How, LineKind, Verdict

# Settling begins when the counts have been compared; a reopened census is settled again.
_MAY_DECIDE = (CensusState.COMPARING, CensusState.SETTLING, CensusState.WAITING, CensusState.REOPENED)


@dataclass(frozen=True, slots=True)
class Names:
    """Whose names stand under a decision beside the one who enters it."""

    approved_by: Person | None = None
    countersigned_by: Person | None = None


def problems_with(
    census: Census,
    row: Row,
    part: LineRead,
    settling: Settling,
    *,
    by: Person,
    names: Names,
    other_line: Line | None,
    settings: CensusSettings,
    today: date,
) -> list[str]:
    """Everything that stands against settling the line so, in sentences; none when it may be done."""
    return [
        *_problems(census, row, part, settling, by),
        *_against_direction(row, part, settling, other_line, settings),
        *_against_earlier_censuses(census, row, settling, settings),
        *_against_writing_off(part, settling, settings, today),
        *_approval_problems(row, settling, by, names, settings),
    ]


def problems_but_approval(
    census: Census,
    row: Row,
    part: LineRead,
    settling: Settling,
    *,
    by: Person,
    other_line: Line | None,
    settings: CensusSettings,
    today: date,
) -> list[str]:
    """The same without what only the names of others can mend: what is asked for approval meets these."""
    return [
        *_problems(census, row, part, settling, by),
        *_against_direction(row, part, settling, other_line, settings),
        *_against_earlier_censuses(census, row, settling, settings),
        *_against_writing_off(part, settling, settings, today),
        *_note_problems(_approval_for(row, settling, settings), settling),
    ]


def names_needed(row: Row, settling: Settling, by: Person, settings: CensusSettings) -> ApprovalNeeded:
    """Whose names must stand under it when ``by`` enters it; who typed the line needs another's."""
    needed = _approval_for(row, settling, settings)
    if settling.how is How.ADJUSTMENT and not needed.curator and by.pk in _typed_by(row):
        needed = replace(needed, curator=True, why=(*needed.why, f"{by.name} typed this line"))
    return needed


def barred(row: Row, person: Person, entered: Person) -> str:
    """Why ``person`` may not approve what ``entered`` stated about the row; empty when they may."""
    why = barred_from_approving(person.pk, counted=_counted_by(row), typed=_typed_by(row), entered=entered.pk)
    return f"{person.name} may not approve: {person.name} {why}" if why else ""


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


def _against_direction(
    row: Row, part: LineRead, settling: Settling, other: Line | None, settings: CensusSettings
) -> list[str]:
    """Animals leave the line on which a late move is stated; a line with too many has not given any.

    Only where the other line is named: to take a pair of differences the wrong way round doubles both.
    """
    if settling.how not in (How.LATE_MOVE, How.CHANGE_OF_NAME) or other is None:
        return []
    if other.joined_key and other.joined_key == part.line.joined_key:
        return []
    above = _above(part)
    if above <= 0 or (settling.how is How.CHANGE_OF_NAME and _also_above(row, other, settings)):
        return []
    return [
        f"the count is {above} above the book, and a {settling.how.words} takes animals away from the "
        f"line on which it is stated: state it on {other}, with {part.line} as the other line"
    ]


def _also_above(row: Row, other: Line, settings: CensusSettings) -> bool:
    """True where the other look-alike is above its book as well: then no way round is the wrong one."""
    census = row.line.sheet.census
    rows = read_rows(census, Line.objects.filter(pk=other.pk), settings=settings)
    return any(_above(part) > 0 for one in rows for part in one.parts)


def _above(part: LineRead) -> int:
    """By how much the latest count of a part is above its book; below nothing where it is short."""
    if part.latest is None or part.latest.value is None:
        return 0
    return part.latest.value - part.present(part.latest.round)


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


def _against_earlier_censuses(
    census: Census, row: Row, settling: Settling, settings: CensusSettings
) -> list[str]:
    """A drift that is stated is held against the censuses that the house has; others are evidence."""
    if settling.how is not How.ADJUSTMENT or not settling.drift:
        return []
    against = contradicts_drift(runs_of(census, [row], settings)[row.line.pk], settings)
    return [f"no drift: {against} found the line on the other side, or in agreement"] if against else []


def _against_writing_off(
    part: LineRead, settling: Settling, settings: CensusSettings, today: date
) -> list[str]:
    """A known individual is searched before it is written off as unaccounted for."""
    reason = BY_NAME.get(settling.reason.strip().lower())
    loses = settling.how is How.ADJUSTMENT and settling.n < 0
    if not loses or part.line.kind != LineKind.INDIVIDUALS or reason is None or not reason.unknown_cause:
        return []
    if settling.last_seen is None:
        return ["say when the animal was last seen; it is written off from then on"]
    earliest = write_off_from(settling.last_seen, settings)
    if today < earliest:
        return [
            f"last seen on {settling.last_seen}: it is written off on {earliest} at the earliest; "
            "until then it is missing, and the search goes on"
        ]
    return []


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
    problems += _note_problems(needed, settling)
    named = (person for person in (names.approved_by, names.countersigned_by) if person is not None)
    return [*problems, *filter(None, (barred(row, person, by) for person in named))]


def _note_problems(needed: ApprovalNeeded, settling: Settling) -> list[str]:
    if needed.note and not settling.note:
        return [f"a note is needed: {'; '.join(needed.why)}"]
    return []


def _counted_by(row: Row) -> set[int]:
    counts = [c for part in row.parts for c in (*part.counts.values(), *part.typed_before)]
    return {count.counter_id for count in counts if count.counter_id is not None}


def _typed_by(row: Row) -> set[int]:
    return {c.typed_by_id for part in row.parts for c in (*part.counts.values(), *part.typed_before)}
