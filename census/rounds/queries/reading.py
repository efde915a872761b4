"""Reads a census beside the book: every line with its counts, and the book at their moments.

The book is the book *as known now* at each count's own moment; the minute of the count is
included. What is missing is not expected to be counted, so lines are compared with the animals
present; the missing ones are told apart. The number of queries does not depend on the lines.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from django.db.models import Prefetch, QuerySet

from inventory.book.models import Event, Lot
from inventory.book.queries.quantities import Held, Point, held_at
from inventory.doors.once import once

from ..models import Census, Count, Decision, Line, Recount, Sighting
from ..rules.compare import Comparison, Measured, compare, compare_joined, counts_agree
from ..rules.settings import CensusSettings
from ..rules.settling import POSTING
from ..rules.states import SHEETS_REPLACED, line_state
from ..rules.words import How, LineKind, LineState, Verdict
from .row import NOTHING, LineRead, Row, must_move, present
from .settings import settings_of

A_MINUTE = timedelta(minutes=1)


@once
def read_census(census: Census, *, settings: CensusSettings | None = None) -> list[Row]:
    """All lines of the census that count, joined sets as one row; sheets that were replaced are left out."""
    replaced = [state.value for state in SHEETS_REPLACED]
    return read_rows(census, Line.objects.exclude(sheet__state__in=replaced), settings=settings)


def read_rows(census: Census, lines: QuerySet[Line], *, settings: CensusSettings | None = None) -> list[Row]:
    """The rows made of ``lines`` of this census; give all lines of a joined set or none."""
    settings = settings or settings_of(census)
    chosen = (
        lines.filter(sheet__census=census)
        .select_related("sheet__census", "place", "taxon")
        .prefetch_related(
            Prefetch("lots", Lot.objects.order_by("accession")),
            Prefetch("counts", _counts()),
            Prefetch("recounts", Recount.objects.select_related("of")),
            Prefetch("decisions", _decisions()),
        )
        .order_by("sheet__number", "number")
    )
    reads = [_line_read(line) for line in chosen]
    groups: dict[str, list[LineRead]] = defaultdict(list)
    for read in reads:
        groups[read.line.joined_key or f"line {read.line.pk}"].append(read)
    _read_book(groups.values(), census.cutoff)
    return [_row(parts, settings) for parts in groups.values()]


def _counts() -> QuerySet[Count]:
    return (
        Count.objects.select_related("counter", "typed_by")
        .prefetch_related(Prefetch("sightings", Sighting.objects.select_related("lot")))
        .order_by("id")
    )


def _decisions() -> QuerySet[Decision]:
    return (
        Decision.objects.select_related("decided_by", "approved_by", "countersigned_by", "owner")
        .prefetch_related(Prefetch("events", Event.objects.order_by("id")))
        .order_by("id")
    )


def _line_read(line: Line) -> LineRead:
    read = LineRead(line=line, lots=list(line.lots.all()))
    counts = list(line.counts.all())
    replaced = {count.replaces_id for count in counts}
    for count in counts:
        if count.pk in replaced:
            read.typed_before.append(count)
        else:
            read.counts[count.round] = count
    read.recounts = list(line.recounts.all())
    read.decisions = list(line.decisions.all())
    return read


def _read_book(groups: Iterable[Sequence[LineRead]], cutoff: datetime) -> None:
    """Fills in the book at every count's moment and at the cut-off: one question for all."""
    points: list[Point] = []
    asked: list[tuple[LineRead, int]] = []
    for parts in groups:
        moments = _moments(parts)
        for part in parts:
            for round_, before in ((0, cutoff), *((r, moments[r]) for r in part.counts)):
                asked.append((part, round_))
                points += [Point(lot.pk, part.line.place_id, before) for lot in part.lots]
    held = iter(held_at(points))
    for part, round_ in asked:
        total = NOTHING
        for _ in part.lots:
            total = plus(total, next(held))
        if round_:
            part.books[round_] = total
        else:
            part.at_end = total


def _moments(parts: Sequence[LineRead]) -> dict[int, datetime]:
    """The first moment after the counts of each round: one shared moment for a joined set."""
    moments: dict[int, datetime] = {}
    for part in parts:
        for round_, count in part.counts.items():
            after = count.counted_at + A_MINUTE
            moments[round_] = max(after, moments.get(round_, after))
    return moments


def plus(one: Held, other: Held) -> Held:
    """Both together."""
    return Held(
        one.males + other.males,
        one.females + other.females,
        one.hermaphrodites + other.hermaphrodites,
        one.unknown + other.unknown,
        one.missing + other.missing,
    )


def _row(parts: list[LineRead], settings: CensusSettings) -> Row:
    line = parts[0].line
    latest = _compared(parts, settings, first=False)
    confirmed = _confirmed(parts, settings)
    newest = max((d for part in parts for d in part.decisions), key=lambda d: d.pk, default=None)
    holds = newest is not None and _holds(newest, latest)
    counted = all(part.counts for part in parts)
    state = line_state(
        verdict=latest.verdict if latest else None,
        counted=counted,
        recount_waiting=any(part.rounds_asked > max(part.counts, default=1) for part in parts),
        confirmed=confirmed,
        decision_holds=newest is not None
        and holds
        and not _explains_a_part(newest, line, latest, confirmed=confirmed),
    )
    return Row(
        parts=parts,
        first=_compared(parts, settings, first=True),
        latest=latest,
        confirmed=confirmed,
        state=state if line.kind != LineKind.PRESENCE or state is not LineState.AGREES else LineState.COUNTED,
        decision=newest,
        reopened=newest is not None and not holds,
    )


def measured(count: Count | None) -> Measured | None:
    """A count as the rules compare it; ``None`` when it says no number."""
    if count is None or count.value is None:
        return None
    return Measured(count.value, count.at_least, count.low, count.high)


def _compared(parts: Sequence[LineRead], settings: CensusSettings, *, first: bool) -> Comparison | None:
    """The first or the latest count beside the book; ``None`` for what has no number to compare."""
    line = parts[0].line
    if line.kind == LineKind.PRESENCE:
        return None
    values = []
    for part in parts:
        count = part.counts.get(1) if first else part.latest
        if count is not None and count.value is None:
            return None
        book = part.present(count.round) if count else present(part.at_end)
        values.append((book, measured(count)))
    if len(values) == 1:
        return compare(line.count_class, *values[0], settings)
    return compare_joined(line.count_class, values, settings)


def _confirmed(parts: Sequence[LineRead], settings: CensusSettings) -> bool:
    """True when the last two counts of every part agree, or the middle of three was taken."""
    for part in parts:
        if part.middle_of_three:
            continue
        last_two = [part.counts[r].value for r in sorted(part.counts)[-2:]]
        if len(last_two) < 2 or None in last_two:
            return False
        one, other = last_two
        if one is None or other is None or not counts_agree(part.line.count_class, one, other, settings):
            return False
    return True


def _explains_a_part(decision: Decision, line: Line, latest: Comparison | None, *, confirmed: bool) -> bool:
    """True when what was posted does not lead to the count: the rest is still to be settled.

    A decision that posts nothing (an open query, an observation) leaves the difference knowingly.
    """
    if latest is None or How(decision.how) not in POSTING:
        return False
    return latest.verdict is Verdict.OUTSIDE or must_move(line, latest, confirmed=confirmed)


def _holds(decision: Decision, latest: Comparison | None) -> bool:
    return (decision.book, decision.counted) == held_numbers(latest)


def held_numbers(latest: Comparison | None) -> tuple[int | None, int | None]:
    """(book, count) on which a decision rests; both empty where nothing is compared."""
    return (latest.book, latest.count) if latest else (None, None)


__all__ = [
    "A_MINUTE",
    "LineRead",
    "Row",
    "held_numbers",
    "measured",
    "plus",
    "present",
    "read_census",
    "read_rows",
]
