"""Whose names a proposal will want, for many at once: what a page may offer with one tick.

The decision itself asks again, with all that it knows; this only says what to expect.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from django.db.models import Sum

from census.differences.rules.facts import Line
from inventory.people.models import Person

from ..models import Census, Decision
from ..rules.approval import AdjustmentCase, ApprovalNeeded, approval_needed
from ..rules.hypotheses import Hypothesis
from ..rules.reasons import BY_NAME, REASONS
from ..rules.settings import CensusSettings
from ..rules.words import How
from .explaining import Answer
from .holdings import holdings
from .reading import Row


def approvals(
    census: Census, rows: Sequence[Row], told: Answer, settings: CensusSettings, *, by: Person
) -> dict[str, ApprovalNeeded]:
    """What each acceptable proposal needs, by its key, if ``by`` accepts it.

    The same few queries for any number.
    """
    every = [one for found in told.by_row.values() for one in found if one.acceptable]
    if not any(_adjusts(one) for one in every):
        return {one.key: ApprovalNeeded() for one in every}
    by_line = {str(part.line): row for row in rows for part in row.parts}
    around = _Around(by_line, told.lines, *_tanks(census), settings=settings, by=by)
    return {one.key: around.needed(one) for one in every}


def _adjusts(one: Hypothesis) -> bool:
    return any(step.settling.how is How.ADJUSTMENT for step in one.steps)


Tank = tuple[int, str]


def _tanks(census: Census) -> tuple[Mapping[Tank, int], Mapping[Tank, int]]:
    """What each place holds at the cut-off, and its unexplained loss in this census, by unit."""
    held: dict[Tank, int] = defaultdict(int)
    for holding in holdings(before=census.cutoff):
        held[holding.place_id, holding.unit] += max(holding.total, 0)
    unexplained = [reason.name for reason in REASONS if reason.unknown_cause]
    decided = (
        Decision.objects.filter(line__sheet__census=census, how=How.ADJUSTMENT.value, reason__in=unexplained)
        .order_by()
        .values_list("line__place_id", "line__unit")
        .annotate(Sum("n"))
    )
    return held, {(place, unit): -n for place, unit, n in decided}


@dataclass(frozen=True, slots=True)
class _Around:
    """What is known around the lines, read once."""

    rows: Mapping[str, Row]
    lines: Mapping[str, Line]
    held: Mapping[Tank, int]
    lost: Mapping[Tank, int]
    settings: CensusSettings
    by: Person

    def needed(self, one: Hypothesis) -> ApprovalNeeded:
        adjusting = [step.settling for step in one.steps if step.settling.how is How.ADJUSTMENT]
        if not adjusting:
            return ApprovalNeeded()
        on = next(step.line for step in one.steps if step.settling is adjusting[0])
        row, line, n = self.rows[on], self.lines[on], adjusting[0].n
        unexplained = BY_NAME[adjusting[0].reason].unknown_cause
        before = sum(d.n for d in _adjusted(row) if d.n * n > 0)
        tank = (row.line.place_id, line.unit)
        case = AdjustmentCase(
            count_class=line.count_class,
            n=abs(n + before),
            book=(row.latest.book if row.latest else 0) - before,
            unexplained=unexplained,
            permit_or_loan=line.permit_or_loan,
            tank_held=self.held.get(tank, 0) if unexplained else 0,
            tank_unexplained_loss=self.lost.get(tank, 0) - n if unexplained else 0,
        )
        needed = approval_needed(case, self.settings)
        if self.by.pk in _typed(row) and not needed.curator:
            why = (*needed.why, "you typed this line: another person approves")
            needed = replace(needed, curator=True, why=why)
        return needed


def _typed(row: Row) -> set[int]:
    return {c.typed_by_id for part in row.parts for c in (*part.counts.values(), *part.typed_before)}


def _adjusted(row: Row) -> Iterable[Decision]:
    return (d for part in row.parts for d in part.decisions if d.how == How.ADJUSTMENT)
