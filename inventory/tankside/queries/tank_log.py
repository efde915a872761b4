"""The tank log of one place in one period: readings told, the last ones, deaths and births, charts."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo
from decimal import Decimal
from typing import Any

from django.utils import timezone

from inventory.book.models import Place
from inventory.book.queries.story import EventTold, at_place
from inventory.book.rules.kinds import EventKind

from ..rules.log_chart import SIZES, Asked, Chart, Happening, Value, draw
from ..rules.readings import CELSIUS, FAHRENHEIT, QUANTITIES, Quantity, quantity_of
from ..rules.wanted import Wanted
from .readings import MOST, ReadingTold, in_period, last_of_each, ranges_wanted, tell

DEATHS = (EventKind.DIED.value, EventKind.PUT_DOWN.value)
BIRTHS = (EventKind.BORN.value,)
# So many of the newest events of the place are looked through for deaths and births.
EVENTS_LOOKED_AT = 1_000


@dataclass(frozen=True, slots=True)
class Last:
    """The newest reading of a quantity, and the range that is wanted now."""

    told: ReadingTold
    wanted: Wanted | None


@dataclass(frozen=True, slots=True)
class Figure:
    """One quantity in one scale, drawn in two widths."""

    key: str
    heading: str
    unit: str
    wanted: str
    summary: str
    charts: tuple[Chart, ...]


@dataclass(frozen=True, slots=True)
class TankLog:
    """What the page shows. ``deaths`` and ``births`` are by day; none where the numbers are hidden."""

    told: list[ReadingTold]
    last: list[Last]
    figures: list[Figure]
    deaths: list[Happening]
    births: list[Happening]
    cut: bool


def tank_log(
    place: Place, *, since: datetime, before: datetime, today: date, temperature: str, hidden: bool
) -> TankLog:
    """The log of a place. ``temperature`` is the house's unit. Eleven queries, however many readings.

    ``hidden``: the reader is counting the place, so that no death or birth is told.
    """
    zone = timezone.get_current_timezone()
    readings = in_period(place, since=since, before=before)
    wanted = ranges_wanted([place.pk])
    told = [tell(reading, wanted, temperature=temperature) for reading in readings]
    events = [] if hidden else at_place(place, since=since, limit=EVENTS_LOOKED_AT)
    deaths = _by_day(events, place, DEATHS, before, zone)
    births = _by_day(events, place, BIRTHS, before, zone)
    asked = Asked(since, before, (), deaths=deaths, births=births)
    return TankLog(
        told=told,
        last=[
            Last(
                tell(reading, wanted, temperature=temperature),
                wanted.at(place.pk, reading.quantity, today),
            )
            for reading in last_of_each([place.pk])
        ],
        figures=_Drawing(asked, temperature, zone).figures(
            told, [wanted.at(place.pk, quantity.code, today) for quantity in QUANTITIES]
        ),
        deaths=deaths,
        births=births,
        cut=len(readings) == MOST,
    )


def log_rows(told: Iterable[ReadingTold]) -> list[dict[str, Any]]:
    """One row for each reading, as it was stated; replaced ones say by which."""
    return [
        {
            "place": one.reading.place.code,
            "quantity": one.reading.quantity,
            "value": f"{one.reading.value.normalize():f}",
            "unit": one.reading.unit,
            "taken_at": _local(one.reading.taken_at),
            "entered_at": _local(one.reading.entered_at),
            "by": one.reading.by.name if one.reading.by else "",
            "device": one.reading.device,
            "outside": one.outside,
            "note": one.reading.note,
            "identifier": str(one.reading.identifier),
            "replaces": str(one.reading.replaces.identifier) if one.reading.replaces else "",
            "replaced_by": str(replaced_by(one)) if replaced_by(one) else "",
        }
        for one in told
    ]


LOG_COLUMNS = (
    "place", "quantity", "value", "unit", "taken_at", "entered_at", "by", "device", "outside", "note",
    "identifier", "replaces", "replaced_by",
)  # fmt: skip


def replaced_by(told: ReadingTold) -> str:
    """The identifier of the reading that replaces it; nothing for one that stands."""
    other = getattr(told.reading, "replaced_by", None)
    return str(other.identifier) if other else ""


def _local(moment: datetime) -> str:
    return timezone.localtime(moment).isoformat(timespec="seconds")


def _by_day(
    events: Iterable[EventTold], place: Place, causes: Sequence[str], before: datetime, zone: tzinfo
) -> list[Happening]:
    """Animals by day that died here, or were born; what was taken back is left out."""
    days: Counter[date] = Counter()
    for told in events:
        if told.reversed_by or told.event.kind == EventKind.REVERSED or told.event.effective_at >= before:
            continue
        for flow in told.flows:
            if (flow.target.cause in causes and flow.origin.place == place.code) or (
                flow.origin.cause in causes and flow.target.place == place.code
            ):
                days[told.event.effective_at.astimezone(zone).date()] += flow.n
    return [Happening(day, n) for day, n in sorted(days.items())]


@dataclass(frozen=True, slots=True)
class _Drawing:
    """What all figures of one page share: the period with its deaths and births, and the house's unit."""

    asked: Asked
    temperature: str
    zone: tzinfo

    def figures(self, told: Iterable[ReadingTold], wanted: Sequence[Wanted | None]) -> list[Figure]:
        """One figure for each quantity and scale, in the order of the quantities."""
        groups: dict[tuple[str, str], list[ReadingTold]] = defaultdict(list)
        for one in told:
            if not replaced_by(one):
                scale = quantity_of(one.reading.quantity).unit(one.reading.unit).scale
                groups[one.reading.quantity, scale].append(one)
        return [
            self.figure(quantity, scale, groups[quantity.code, scale], range_)
            for quantity, range_ in zip(QUANTITIES, wanted, strict=True)
            for scale in dict.fromkeys(unit.scale for unit in quantity.units)
            if (quantity.code, scale) in groups
        ]

    def figure(
        self, quantity: Quantity, scale: str, group: Sequence[ReadingTold], wanted: Wanted | None
    ) -> Figure:
        """One figure; the range wanted is drawn when it is set in this scale."""
        unit = self.temperature if scale == CELSIUS else scale
        range_ = wanted if wanted and quantity.unit(wanted.unit).scale == scale else None
        low, high = range_.bounds if range_ else (None, None)
        values = [Value(one.reading.taken_at, _level(one.exact, unit), bool(one.outside)) for one in group]
        drawn = replace(
            self.asked,
            values=values,
            low=None if low is None else _level(low, unit),
            high=None if high is None else _level(high, unit),
        )
        beyond = sum(value.outside for value in values)
        lowest = min(group, key=lambda one: one.exact).shown
        highest = max(group, key=lambda one: one.exact).shown
        readings = "1 reading" if len(group) == 1 else f"{len(group):,} readings"
        scales = list(dict.fromkeys(unit.scale for unit in quantity.units))
        return Figure(
            key=f"{quantity.code}-{scales.index(scale) + 1}",
            heading=quantity.words,
            unit=said_unit(unit),
            wanted=range_.words if range_ else "",
            summary=f"{readings}, lowest {lowest}, highest {highest}"
            + (f"; {beyond} outside the range wanted" if beyond else ""),
            charts=tuple(draw(drawn, size, self.zone) for size in SIZES),
        )


def said_unit(unit: str) -> str:
    """A unit behind a heading; practical salinity and pH have none."""
    return {"PSU": "practical salinity", "pH": ""}.get(unit, unit)


def _level(exact: Decimal, unit: str) -> float:
    """A value of the scale in the unit that is drawn."""
    return float(exact) * 9 / 5 + 32 if unit == FAHRENHEIT else float(exact)
