"""The measures of a census, from its rows and the events of its period. A constant number of queries."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo

from django.db.models import F, Sum

from inventory.book.models import Event, PeriodBalance

from ..models import Census, Decision
from ..rules.measures import Delay, RecountAgreement, Recounted, delay, per_hundred, recount_agreement
from ..rules.reasons import REASONS
from ..rules.settings import CensusSettings
from ..rules.words import MEASURED_UNITS, CensusState, How
from .reading import LineRead, Row, present
from .typing import typed_from_paper

_UNKNOWN = frozenset(reason.name for reason in REASONS if reason.unknown_cause)


@dataclass(frozen=True, slots=True)
class Unexplained:
    """Adjustments that nobody could explain, losses and gains apart, in one unit or place."""

    what: str
    losses: int
    gains: int
    held: int

    @property
    def losses_per_hundred(self) -> float | None:
        return per_hundred(self.losses, self.held)

    @property
    def gains_per_hundred(self) -> float | None:
        return per_hundred(self.gains, self.held)


@dataclass(frozen=True, slots=True)
class Measures:
    """What the curator sees beside the accuracy by class."""

    unexplained: list[Unexplained]
    recounts: RecountAgreement
    typing: Delay
    late_entries: int
    entries: int
    never_counted: list[LineRead]
    largest: list[tuple[Row, Decision]]
    above_limit: list[tuple[Row, Decision]]
    tank_alarms: list[Unexplained]


def measures_of(census: Census, rows: Sequence[Row], settings: CensusSettings, *, zone: tzinfo) -> Measures:
    """Five queries beside those that read the rows."""
    decided = [(row, d) for row in rows for part in row.parts for d in part.decisions]
    unexplained = [(row, d) for row, d in decided if d.how == How.ADJUSTMENT and d.reason in _UNKNOWN and d.n]
    late, entries = _late_entries(census, settings, zone)
    return Measures(
        unexplained=_by_unit(unexplained, rows),
        recounts=recount_agreement(
            sum(len(part.recounts) for row in rows for part in row.parts), _recounted(rows), settings
        ),
        typing=delay(
            count.typed_at - count.counted_at
            for row in rows
            for part in row.parts
            for count in part.counts.values()
            if typed_from_paper(count)
        ),
        late_entries=late,
        entries=entries,
        never_counted=[part for row in rows for part in row.blank],
        largest=sorted(unexplained, key=lambda pair: (-abs(pair[1].n), pair[1].pk))[:5],
        above_limit=[(row, d) for row, d in decided if d.approved_by_id is not None],
        tank_alarms=_tanks_of_a_year(census, settings),
    )


def _by_unit(unexplained: Sequence[tuple[Row, Decision]], rows: Sequence[Row]) -> list[Unexplained]:
    held: dict[str, int] = defaultdict(int)
    for row in rows:
        held[row.line.unit] += sum(max(0, present(part.at_end)) for part in row.parts)
    return [
        Unexplained(
            unit,
            losses=-sum(d.n for row, d in unexplained if row.line.unit == unit and d.n < 0),
            gains=sum(d.n for row, d in unexplained if row.line.unit == unit and d.n > 0),
            held=held[unit],
        )
        for unit in MEASURED_UNITS
    ]


def _recounted(rows: Sequence[Row]) -> list[Recounted]:
    found = []
    for row in rows:
        for part in row.parts:
            first, second = part.counts.get(1), part.counts.get(2)
            if first and second and first.value is not None and second.value is not None:
                # The book as it was before what was decided made it follow the counts.
                book = part.present(2) - sum(decision.n for decision in part.decisions)
                found.append(Recounted(row.line.count_class, book, first.value, second.value))
    return found


def _late_entries(census: Census, settings: CensusSettings, zone: tzinfo) -> tuple[int, int]:
    """Events of the period entered later than the warning allows, and all of them; adjustments apart."""
    starts = datetime.combine(census.period.starts_on, time(), zone)
    adjustments = Decision.events.through.objects.filter(decision__how=How.ADJUSTMENT.value)
    events = Event.objects.filter(effective_at__gte=starts, effective_at__lt=census.cutoff).exclude(
        pk__in=adjustments.values("event")
    )
    allowed = timedelta(days=settings.late_entry_warning_days)
    return events.filter(entered_at__gt=F("effective_at") + allowed).count(), events.count()


def _tanks_of_a_year(census: Census, settings: CensusSettings) -> list[Unexplained]:
    """Places whose net unexplained loss over this census and the three before is above the alarm.

    In per cent of what they closed with at the first of those closings; places of a house that has
    not closed yet are not judged.
    """
    before = list(
        Census.objects.filter(cutoff__lte=census.cutoff)
        .exclude(state=CensusState.ABANDONED.value)
        .order_by("-cutoff")[:4]
    )
    changed = (
        Decision.objects.filter(
            line__sheet__census__in=before, how=How.ADJUSTMENT.value, reason__in=_UNKNOWN, line__unit="animal"
        )
        .values_list("line__place", "line__place__code")
        .annotate(n=Sum("n"))
        .order_by("line__place__code")
    )
    losing = [(place, code, -n) for place, code, n in changed if n < 0]
    held = _held_then(before[-1] if before else census, [place for place, _, _ in losing])
    return [
        Unexplained(code, lost, 0, held[place])
        for place, code, lost in losing
        if lost * 100 > settings.tank_loss_alarm_year_percent * held.get(place, 0) > 0
    ]


def _held_then(census: Census, places: Sequence[int]) -> dict[int, int]:
    kept = PeriodBalance.objects.filter(
        version__census=census, cell__account__place__in=places, cell__lot__unit="animal"
    )
    return dict(kept.values_list("cell__account__place").annotate(n=Sum("n")).order_by())
