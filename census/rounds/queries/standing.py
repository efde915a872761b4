"""For whom a row waits, and whether its counts are to be read with care: the tags of the list."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from ..models import ApprovalAsked, Decision
from ..rules.settings import CensusSettings
from ..rules.words import How
from .quality import quality
from .reading import Row
from .searching import searches_over
from .waiting import still_waiting


@dataclass(frozen=True, slots=True)
class Standing:
    """``waits``: for whom and for what, in a few words each. ``care``: sentences on the counts."""

    waits: tuple[str, ...] = ()
    care: tuple[str, ...] = ()


def standings(rows: Iterable[Row], settings: CensusSettings) -> Mapping[int, Standing]:
    """The rows of which there is something to say, by the id of their first line. One query, one more where
    animals were booked as missing."""
    rows = list(rows)
    over = searches_over(
        row.decision.pk for row in rows if row.decision is not None and row.decision.how == How.MISSING
    )
    asked: dict[int, ApprovalAsked] = {}
    for one in still_waiting().select_related("asked_by"):
        asked[one.line_id] = one
        if one.other_line_id is not None:
            asked[one.other_line_id] = one
    told = (
        (row.line.pk, Standing(tuple(_waits(row, asked, over)), tuple(quality(row, settings))))
        for row in rows
    )
    return {pk: one for pk, one in told if one.waits or one.care}


def _waits(row: Row, asked: Mapping[int, ApprovalAsked], over: Collection[int]) -> Iterable[str]:
    decision = row.decision
    if decision is not None and _is_open(row, decision) and decision.pk not in over:
        what = "open query" if decision.how == How.OPEN_QUERY else "searched"
        owner = f": {decision.owner.name}" if decision.owner else ""
        yield f"{what}{owner}{f', until {decision.due_on:%Y-%m-%d}' if decision.due_on else ''}"
    if any(part.line.pk in asked for part in row.parts):
        yield "approval asked"
    out = [
        recount.of.name
        for part in row.parts
        for recount in part.recounts
        if recount.round > max(part.counts, default=1)
    ]
    if out:
        yield f"recount out: {', '.join(dict.fromkeys(out))}"


def _is_open(row: Row, decision: Decision) -> bool:
    return not row.reopened and decision.how in (How.OPEN_QUERY, How.MISSING)
