"""What rows of events do to the numbers: a plain reading of them, apart from the ledger's own.

The generator plans with it and its tests check with it; the ledger must then agree.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time

from inventory.book.rules.happened import parse_happened
from inventory.book.rules.kinds import ARRIVALS, DEPARTURES, EventKind

from .fixtures import SEXES, Row

ARRIVAL_KINDS = frozenset(kind.value for kind in ARRIVALS)
DEPARTURE_KINDS = frozenset(kind.value for kind in DEPARTURES)
# Columns of the table of closed periods; opening stock is none of them.
IN_KINDS = ARRIVAL_KINDS - {EventKind.OPENING.value, EventKind.FOUND.value}
OUT_KINDS = DEPARTURE_KINDS - {EventKind.UNACCOUNTED.value}


@dataclass(frozen=True, slots=True)
class Effect:
    """``n`` animals more (or fewer) of a sex of a lot at a place, from ``at`` on, local time.

    ``kind`` is that of the event; a reversal has the kind of what it takes back.
    """

    at: datetime
    entered: datetime
    lot: str
    place: str
    sex: str
    n: int
    kind: str


def effective(happened: str) -> datetime:
    """The local moment from which the book counts it."""
    end = parse_happened(happened).end
    return end if isinstance(end, datetime) else datetime.combine(end, time())


def effects_of(rows: Sequence[Row]) -> list[Effect]:
    """All effects, reversals at the moment of what they take back, in order of happening."""
    lines: dict[str, list[Row]] = {}
    for row in rows:
        lines.setdefault(row.ref, []).append(row)
    effects = [effect for row in rows for effect in _effects_of_row(row, lines)]
    return sorted(effects, key=lambda effect: effect.at)


def net_by_line(effects: Iterable[Effect]) -> dict[tuple[str, str], int]:
    """The sum of effects by (lot, place)."""
    net: dict[tuple[str, str], int] = {}
    for effect in effects:
        line = effect.lot, effect.place
        net[line] = net.get(line, 0) + effect.n
    return net


def between(effects: Iterable[Effect], start: datetime, before: datetime) -> list[Effect]:
    return [effect for effect in effects if start <= effect.at < before]


def _effects_of_row(row: Row, lines: dict[str, list[Row]]) -> Iterator[Effect]:
    entered = datetime.fromisoformat(row.entered)
    if row.kind == EventKind.REVERSED:
        for undone in lines[row.reverses]:
            for effect in _plain_effects(undone, entered):
                yield Effect(effect.at, entered, effect.lot, effect.place, effect.sex, -effect.n, effect.kind)
    else:
        yield from _plain_effects(row, entered)


def _plain_effects(row: Row, entered: datetime) -> Iterator[Effect]:
    at = effective(row.happened)
    for sex, n in zip(SEXES, row.by_sex, strict=True):
        if not n:
            continue
        if row.kind in ARRIVAL_KINDS:
            yield Effect(at, entered, row.lot, row.place, sex, n, row.kind)
            continue
        yield Effect(at, entered, row.lot, row.place, sex, -n, row.kind)
        if row.kind not in DEPARTURE_KINDS:
            yield Effect(at, entered, row.to_lot or row.lot, row.to_place or row.place, sex, n, row.kind)
