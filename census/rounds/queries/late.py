"""What was entered after a period was closed, and what of it asks to restate."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, time, tzinfo
from typing import NamedTuple

from django.db.models import Q, QuerySet, Sum

from inventory.book.models import Event, Flow, Lot, Period, PeriodBalance, PeriodVersion

from ..models import Restatement
from ..rules.restating import LateFigure, above_limit
from ..rules.settings import CensusSettings
from .returns_touched import LateEvent, Touched, returns_touched
from .spots import is_exact


@dataclass(slots=True)
class LatePeriod:
    """A closed period with its late entries. ``asks``: figures at or above the limit, with the reason.

    ``touched``: returns already sent whose figures the entries change; these ask whatever the number.
    """

    period: Period
    version: PeriodVersion
    events: list[Event] = field(default_factory=list)
    figures: list[LateFigure] = field(default_factory=list)
    asks: list[tuple[LateFigure, str]] = field(default_factory=list)
    touched: list[Touched] = field(default_factory=list)
    restatement: Restatement | None = None

    @property
    def asks_to_restate(self) -> bool:
        return bool(self.asks or self.touched)

    @property
    def why(self) -> str:
        """What asks, in words."""
        told = [f"{figure.name}, {why}" for figure, why in self.asks]
        return "; ".join([*told, *(f"it touches {one.words}" for one in self.touched)])


def restatement_under_way(period: Period) -> Restatement | None:
    """What was asked for and is not done: it waits for the curator, or for the next version's closing."""
    return period.restatements.filter(refused=False, new_version=None).first()


def late_in(period: Period, *, settings: CensusSettings, zone: tzinfo) -> LatePeriod | None:
    """The late entries of one period since its newest closing; ``None`` when it is not closed."""
    return next(iter(_late(Period.objects.filter(pk=period.pk), settings, zone)), None)


def late_periods(*, settings: CensusSettings, zone: tzinfo) -> list[LatePeriod]:
    """Every closed period with late entries, newest first.

    Seven queries, two more once a return was sent, however many periods there are.
    """
    return [late for late in _late(Period.objects.all(), settings, zone) if late.events]


def _late(periods: QuerySet[Period], settings: CensusSettings, zone: tzinfo) -> list[LatePeriod]:
    newest: dict[int, PeriodVersion] = {}
    versions = PeriodVersion.objects.filter(period__in=periods).select_related("period", "signed_by")
    for version in versions.order_by("-period__ends_on", "number"):
        newest[version.period_id] = version
    found = [LatePeriod(version.period, version) for version in newest.values()]
    spans = {late.version.pk: _span(late, zone) for late in found}
    rows = _flows(spans.values())
    events = Event.objects.select_related("entered_by").in_bulk({row.event for row in rows})
    lots = Lot.objects.select_related("taxon").in_bulk({lot for row in rows for lot in row.lots})
    closings = _closings(newest.values(), lots)
    asked: dict[int, Restatement] = {}
    for one in Restatement.objects.filter(of_version__in=newest.values()).order_by("id"):
        asked[one.of_version_id] = one
    every = _late_events(rows, events)
    for late in found:
        starts, boundary, closed_at = spans[late.version.pk]
        mine = [r for r in rows if starts <= r.effective_at < boundary and r.entered_at > closed_at]
        late.events = [events[pk] for pk in sorted({row.event for row in mine})]
        late.figures = _figures(mine, lots, closings[late.version.pk])
        late.asks = above_limit(late.figures, settings)
        late.restatement = asked.get(late.version.pk)
    _touch(found, every, zone)
    return found


def _late_events(rows: Iterable["_Row"], events: Mapping[int, Event]) -> dict[int, LateEvent]:
    lots: dict[int, set[int]] = defaultdict(set)
    newest: dict[int, _Row] = {}
    for row in rows:
        lots[row.event] |= row.lots
        newest[row.event] = row
    return {
        pk: LateEvent(events[pk], frozenset(lots[pk]), row.effective_at, row.entered_at)
        for pk, row in newest.items()
    }


def _touch(found: Iterable[LatePeriod], every: Mapping[int, LateEvent], zone: tzinfo) -> None:
    """Puts beside each period the sent returns that its late events touch."""
    touched = returns_touched(every.values(), zone)
    for late in found:
        mine = {event.pk for event in late.events}
        for one in touched:
            events = tuple(event for event in one.events if event.pk in mine)
            if events:
                late.touched.append(replace(one, events=events))


class _Row(NamedTuple):
    event: int
    from_lot: int
    to_lot: int
    n: int
    effective_at: datetime
    entered_at: datetime

    @property
    def lots(self) -> set[int]:
        return {self.from_lot, self.to_lot}


_Span = tuple[datetime, datetime, datetime]


def _span(late: LatePeriod, zone: tzinfo) -> _Span:
    """First moment, boundary, and moment of the closing."""
    starts = datetime.combine(late.period.starts_on, time(), zone)
    return starts, late.version.boundary, late.version.closed_at


def _flows(spans: Iterable[_Span]) -> list[_Row]:
    """Flows that are late for any of the spans. One query."""
    late = Q(pk__in=[])
    for starts, boundary, closed_at in spans:
        late |= Q(effective_at__gte=starts, effective_at__lt=boundary, entered_at__gt=closed_at)
    columns = ("event_id", "from_cell__lot_id", "to_cell__lot_id", "n", "effective_at", "entered_at")
    return [_Row(*row) for row in Flow.objects.filter(late).values_list(*columns)]


def _closings(
    versions: Iterable[PeriodVersion], lots: Mapping[int, Lot]
) -> dict[int, dict[tuple[int, str], int]]:
    """What each version closed with, by taxon and unit, for the taxa of ``lots``."""
    kept = PeriodBalance.objects.filter(
        version__in=list(versions), cell__lot__taxon__in={lot.taxon_id for lot in lots.values()}
    )
    columns = ("version_id", "cell__lot__taxon", "cell__lot__unit")
    closings: dict[int, dict[tuple[int, str], int]] = defaultdict(lambda: defaultdict(int))
    for version, taxon, unit, total in kept.values_list(*columns).annotate(total=Sum("n")).order_by():
        closings[version][taxon, unit] = total
    return closings


def _figures(
    rows: Iterable[_Row], lots: Mapping[int, Lot], closing: Mapping[tuple[int, str], int]
) -> list[LateFigure]:
    n: Counter[tuple[int, str]] = Counter()
    class_a: Counter[tuple[int, str]] = Counter()
    names: dict[int, str] = {}
    events: dict[tuple[int, str], set[int]] = defaultdict(set)
    for row in rows:
        for lot in (lots[pk] for pk in row.lots):
            key = (lot.taxon_id, lot.unit)
            names[lot.taxon_id] = lot.taxon.scientific_name
            n[key] += row.n
            events[key].add(row.event)
            class_a[key] += row.n if is_exact(lot) else 0
    figures = [
        LateFigure(
            names[taxon],
            unit,
            number,
            class_a[taxon, unit],
            closing.get((taxon, unit), 0),
            events=tuple(sorted(events[taxon, unit])),
        )
        for (taxon, unit), number in n.items()
    ]
    return sorted(figures, key=lambda figure: (figure.name, figure.unit))
