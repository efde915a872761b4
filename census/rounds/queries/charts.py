"""The figures behind the charts of a census. Queries grow with the censuses drawn, never with their lines."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import timedelta, tzinfo

from inventory.names.models import Taxon

from ..models import Census, Decision, Line
from ..rules.accuracy import TARGETS
from ..rules.charts import AccuracyPoint, DriftPoint, FunnelPoint, LossBar, LossMonth
from ..rules.reasons import REASONS
from ..rules.settings import CensusSettings
from ..rules.words import MEASURED_UNITS, CensusState, How, LineKind
from .progress import accuracy_table
from .reading import LineRead, Row, present, read_rows

MOST_CENSUSES = 12
"""Three years of quarters: more do not fit on a telephone."""
MONTHS = 12

_COUNTED = (
    CensusState.COMPARING,
    CensusState.SETTLING,
    CensusState.WAITING,
    CensusState.CLOSED,
    CensusState.REOPENED,
)
_UNKNOWN = frozenset(reason.name for reason in REASONS if reason.unknown_cause)


def censuses_until(census: Census) -> list[Census]:
    """The compared censuses up to and with this one, oldest first; the newest `MOST_CENSUSES`."""
    states = [state.value for state in _COUNTED]
    found = Census.objects.filter(cutoff__lte=census.cutoff, state__in=states).order_by("-cutoff", "-pk")
    return list(reversed(found.select_related("period")[:MOST_CENSUSES]))


def funnel_points(rows: Iterable[Row]) -> list[FunnelPoint]:
    """Every measured row with a number, by its latest count."""
    return [
        FunnelPoint(
            line=row.refs,
            place=row.place_codes,
            name=row.name,
            count_class=row.line.count_class,
            book=row.latest.book,
            count=row.latest.count,
            allowed=row.latest.tolerance,
            inside=row.latest.inside,
        )
        for row in rows
        if row.measured and row.latest is not None and row.latest.count is not None
    ]


def accuracy_points(
    read: Sequence[tuple[Census, Sequence[Row]]], settings: CensusSettings
) -> list[AccuracyPoint]:
    """Record accuracy by class of every census, oldest first. One query for each census."""
    return [
        AccuracyPoint(
            census.code,
            one.count_class,
            one.latest.lines,
            one.first.percent,
            one.latest.percent,
            one.first.lines,
        )
        for census, rows in read
        for one in accuracy_table(rows, settings)
        if one.count_class in TARGETS
    ]


def loss_bars(rows: Iterable[Row]) -> list[LossBar]:
    """What was written off as unexplained, by place and unit; places without any are left out."""
    losses: dict[tuple[str, str, str], int] = defaultdict(int)
    gains: dict[tuple[str, str, str], int] = defaultdict(int)
    held: dict[tuple[str, str, str], int] = defaultdict(int)
    for row in rows:
        for part in row.parts:
            if part.line.unit not in MEASURED_UNITS or part.line.kind == LineKind.PRESENCE:
                continue
            key = (part.line.place.code, part.line.place.name, part.line.unit)
            lost, gained = _unexplained(part)
            losses[key] += lost
            gains[key] += gained
            # What the book had before the write-off: the book now, with it taken back.
            held[key] += max(0, present(part.at_end) + lost - gained)
    bars = [LossBar(*key, losses[key], gains[key], held[key]) for key in held if losses[key] or gains[key]]
    return sorted(bars, key=lambda bar: (-(bar.per_hundred or 0), bar.place, bar.unit))


def loss_months(census: Census, zone: tzinfo) -> list[LossMonth]:
    """The same by the month in which it happened, as the book has it: the year up to the cut-off. One query.

    What censuses wrote off or put on, of each unit that has any; months without are there, with zero.
    """
    last = (census.cutoff - timedelta(minutes=1)).astimezone(zone)
    months = [_month(last.year * 12 + last.month - 1 - back) for back in reversed(range(MONTHS))]
    decided = Decision.objects.filter(
        how=How.ADJUSTMENT.value,
        reason__in=_UNKNOWN,
        line__unit__in=MEASURED_UNITS,
        events__effective_at__lt=census.cutoff,
    ).values_list("line__unit", "n", "events__effective_at")
    losses: dict[tuple[str, str], int] = defaultdict(int)
    gains: dict[tuple[str, str], int] = defaultdict(int)
    for unit, n, at in decided:
        key = (unit, f"{at.astimezone(zone):%Y-%m}")
        losses[key] += max(0, -n)
        gains[key] += max(0, n)
    units = [one for one in MEASURED_UNITS if any((one, m) in losses for m in months)]
    return [
        LossMonth(month, unit, losses[unit, month], gains[unit, month]) for unit in units for month in months
    ]


def _month(number: int) -> str:
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


def _unexplained(part: LineRead) -> tuple[int, int]:
    numbers = [d.n for d in part.decisions if d.how == How.ADJUSTMENT and d.reason in _UNKNOWN]
    return -sum(n for n in numbers if n < 0), sum(n for n in numbers if n > 0)


def drift_series(
    taxon: Taxon, censuses: Sequence[Census], settings: CensusSettings
) -> dict[str, list[DriftPoint]]:
    """The course of a taxon by place, through ``censuses``; several lots of one place together."""
    series: dict[str, list[DriftPoint]] = defaultdict(list)
    for census in censuses:
        lines = Line.objects.filter(taxon=taxon, sheet__replaced_by=None, unit__in=MEASURED_UNITS)
        by_place: dict[str, list[LineRead]] = defaultdict(list)
        for row in read_rows(census, lines.exclude(kind=LineKind.PRESENCE.value), settings=settings):
            for part in row.parts:
                by_place[part.line.place.code].append(part)
        for place, parts in sorted(by_place.items()):
            before = series[place][-1] if series[place] else None
            series[place].append(_drift_point(census.code, parts, before))
    return dict(series)


def _drift_point(census: str, parts: Sequence[LineRead], before: DriftPoint | None) -> DriftPoint:
    counts = [part.latest for part in parts]
    values = [count.value for count in counts if count is not None and count.value is not None]
    counted = len(values) == len(parts)
    book = sum(part.present(part.latest.round) if part.latest else present(part.at_end) for part in parts)
    ranged = counted and any(count is not None and count.low is not None for count in counts)
    lows = [count.value if count.low is None else count.low for count in counts if count is not None]
    highs = [count.value if count.high is None else count.high for count in counts if count is not None]
    method = ", ".join(dict.fromkeys(_short_method(count.method) for count in counts if count is not None))
    return DriftPoint(
        census=census,
        book=book,
        value=sum(values) if counted else None,
        low=sum(n for n in lows if n is not None) if ranged else None,
        high=sum(n for n in highs if n is not None) if ranged else None,
        at_least=any(count is not None and count.at_least for count in counts),
        method=method if counted else "",
        breaks=counted and before is not None and before.value is not None and before.method != method,
    )


def _short_method(method: str) -> str:
    """ "passes or pictures: 61 58 64" is the method "passes or pictures"; nothing said is a full count."""
    return method.partition(":")[0].strip() or "full count"
