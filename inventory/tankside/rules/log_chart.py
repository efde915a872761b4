"""A small chart of readings over time, laid out for two widths; drawn by a template as SVG.

Points are joined by a line, save across more than two days without a reading, for nobody knows what
lay between. What lies outside the wanted range is a diamond and not a dot; deaths are crosses and
births are triangles under the time axis: shapes, so that grey paper tells as much as colour.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

GAP = timedelta(days=2)
# More points than this are drawn as the lowest and highest of each step of time.
MOST_POINTS = 300
# How far below the time axis the marks stand.
DEATHS_UNDER, BIRTHS_UNDER = 34, 52
# How far from a mark its number stands, and how wide a digit is at most, of the size of the letters.
BESIDE_MARK, DIGIT = 8, 0.65
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Value:
    """One reading: when, how much in the unit that is drawn, and whether outside the wanted range."""

    moment: datetime
    value: float
    outside: bool = False


@dataclass(frozen=True, slots=True)
class Happening:
    """Deaths or births of one day."""

    day: date
    n: int


@dataclass(frozen=True, slots=True)
class Size:
    """A drawing's size and its letters, in user units; margins leave room for the axes."""

    name: str
    width: int
    height: int
    letters: int
    most_days: int
    left: int = 46
    right: int = 12
    top: int = 12
    bottom: int = 62


SIZES = (Size("wide", 720, 270, 13, 10), Size("narrow", 330, 240, 12, 4, left=40, right=8))


@dataclass(frozen=True, slots=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True, slots=True)
class Spot:
    x: float
    y: float
    outside: bool


@dataclass(frozen=True, slots=True)
class Mark:
    """Deaths (a cross) or births (a triangle) of one day; ``label`` is the number, when not one."""

    x: float
    y: float
    label: str
    label_at: float
    anchor: str


@dataclass(frozen=True, slots=True)
class Chart:
    """Everything that the template draws, in user units; text for those who do not see it."""

    size: Size
    lines: tuple[str, ...]
    spots: tuple[Spot, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    wanted: tuple[Tick, ...]
    deaths: tuple[Mark, ...]
    births: tuple[Mark, ...]
    thinned: bool

    @property
    def right(self) -> int:
        return self.size.width - self.size.right

    @property
    def floor(self) -> int:
        """The time axis."""
        return self.size.height - self.size.bottom

    @property
    def deaths_at(self) -> int:
        return self.floor + DEATHS_UNDER

    @property
    def births_at(self) -> int:
        return self.floor + BIRTHS_UNDER


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be drawn: a period, values in order, the bounds wanted, what happened."""

    since: datetime
    before: datetime
    values: Sequence[Value]
    low: float | None = None
    high: float | None = None
    deaths: Sequence[Happening] = ()
    births: Sequence[Happening] = ()


def draw(asked: Asked, size: Size, zone: tzinfo) -> Chart:
    """The chart in one size. Without values the axes stand alone."""
    bounds = [bound for bound in (asked.low, asked.high) if bound is not None]
    levels = [value.value for value in asked.values] + bounds or [0.0, 1.0]
    floor, ceiling, step = nice_axis(min(levels), max(levels), ticks=5 if size.name == "wide" else 4)
    # A bound on the very edge would hide behind the axis.
    if any(abs(bound - floor) < step / 100 for bound in bounds):
        floor -= step
    if any(abs(bound - ceiling) < step / 100 for bound in bounds):
        ceiling += step
    across = size.width - size.left - size.right
    down = size.height - size.top - size.bottom
    length = (asked.before - asked.since).total_seconds()

    def x(moment: datetime) -> float:
        return round(size.left + across * (moment - asked.since).total_seconds() / length, 1)

    def y(value: float) -> float:
        return round(size.top + down * (ceiling - value) / (ceiling - floor), 1)

    drawn = thinned(asked.values, steps=MOST_POINTS // 2) if len(asked.values) > MOST_POINTS else asked.values
    under = size.height - size.bottom
    return Chart(
        size=size,
        lines=tuple(
            " ".join(f"{x(value.moment)},{y(value.value)}" for value in part)
            for part in unbroken(drawn)
            if len(part) > 1
        ),
        spots=tuple(Spot(x(value.moment), y(value.value), value.outside) for value in drawn),
        x_ticks=tuple(Tick(x(moment), label) for moment, label in days_to_label(asked, zone, size.most_days)),
        y_ticks=tuple(
            Tick(y(floor + n * step), _plain(floor + n * step, step))
            for n in range(round((ceiling - floor) / step) + 1)
        ),
        wanted=tuple(Tick(y(bound), f"{bound:g}") for bound in bounds),
        deaths=tuple(
            _mark(x(moment), under + DEATHS_UNDER, label, size)
            for moment, label in _marked(asked, asked.deaths, zone)
        ),
        births=tuple(
            _mark(x(moment), under + BIRTHS_UNDER, label, size)
            for moment, label in _marked(asked, asked.births, zone)
        ),
        thinned=len(asked.values) > MOST_POINTS,
    )


def unbroken(values: Sequence[Value]) -> list[list[Value]]:
    """The values in runs without a gap of more than two days."""
    parts: list[list[Value]] = []
    for value in values:
        if parts and value.moment - parts[-1][-1].moment <= GAP:
            parts[-1].append(value)
        else:
            parts.append([value])
    return parts


def thinned(values: Sequence[Value], *, steps: int) -> list[Value]:
    """The lowest and the highest value of each of ``steps`` steps of time, in their order."""
    first, last = values[0].moment, values[-1].moment
    length = max((last - first).total_seconds(), 1.0)
    buckets: dict[int, list[Value]] = {}
    for value in values:
        step = min(steps - 1, int(steps * (value.moment - first).total_seconds() / length))
        buckets.setdefault(step, []).append(value)
    kept: list[Value] = []
    for bucket in buckets.values():
        ends = {id(end): end for end in (min(bucket, key=_level), max(bucket, key=_level))}
        kept += sorted(ends.values(), key=lambda value: value.moment)
    return kept


def nice_axis(low: float, high: float, *, ticks: int) -> tuple[float, float, float]:
    """Lower end, upper end and step of an axis in steps of 1, 2 or 5 times a power of ten."""
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    rough = (high - low) / ticks
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * (1 - 1e-9))
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step, step


def days_to_label(asked: Asked, zone: tzinfo, most: int) -> list[tuple[datetime, str]]:
    """Midnights to label on the time axis: every day, week, month or so, ``most`` at most."""
    first = asked.since.astimezone(zone).date()
    last = (asked.before - timedelta(microseconds=1)).astimezone(zone).date()
    days = (last - first).days + 1
    step = next(step for step in (1, 2, 7, 14, 28, 56, 91, 182, 364, days) if days / step <= most)
    found = []
    for n in range(0, days, step):
        day = first + timedelta(days=n)
        moment = max(datetime.combine(day, time(), zone), asked.since)
        found.append((moment, f"{day.day} {_MONTHS[day.month - 1]}"))
    return found


def _marked(asked: Asked, happened: Sequence[Happening], zone: tzinfo) -> list[tuple[datetime, str]]:
    """Where each day's mark stands: at its noon, inside the period."""
    last = asked.before - timedelta(microseconds=1)
    return [
        (
            min(max(datetime.combine(one.day, time(12), zone), asked.since), last),
            str(one.n) if one.n > 1 else "",
        )
        for one in happened
    ]


def _mark(x: float, y: float, label: str, size: Size) -> Mark:
    """A number that would run out of the drawing stands before its mark, for a cut number is another one."""
    fits = x + BESIDE_MARK + len(label) * DIGIT * size.letters <= size.width
    return Mark(x, y, label, x + BESIDE_MARK if fits else x - BESIDE_MARK, "start" if fits else "end")


def _level(value: Value) -> float:
    return value.value


def _plain(value: float, step: float) -> str:
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    return f"{value:.{digits}f}".replace("-", "\N{MINUS SIGN}")
