"""How long animals have been in quarantine or hospital, read from their moves.

A stay is of a lot in a place: from when the place first held any of it to when it holds none. Those who
join later begin their days anew, and nobody can tell them apart in the tank: so the days that are left
count from the last that joined. Animals taken from one lot into another in the same place take their
days along. Births and what is found there begin no stay of their own.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import NamedTuple

# Ways out that are no leaving of quarantine by somebody's decision.
ENDED_THERE = frozenset({"died", "put_down", "unaccounted", "opening", "found", "born", "divided", "settled"})
BEGAN_THERE = frozenset({"born", "divided", "settled", "found"})

Key = tuple[int, int]


class End(NamedTuple):
    """One end of a flow: a lot in a place, or 0 and the outside cause."""

    lot: int
    place: int
    cause: str


class Step(NamedTuple):
    """``n`` animals from one end to the other; ``reversal`` takes a step back at the step's own moment."""

    event: int
    moment: datetime
    origin: End
    target: End
    n: int
    reversal: bool


@dataclass(frozen=True, slots=True)
class Stay:
    """Since when a lot is in a place, and when the last of it joined; the events that say so."""

    lot: int
    place: int
    since: datetime
    joined: datetime
    begun_by: int
    n: int = 0


@dataclass(frozen=True, slots=True)
class Leaving:
    """Animals that left a place of isolation for another place, or the house."""

    stay: Stay
    event: int
    moment: datetime
    n: int


@dataclass(slots=True)
class Stays:
    """Stays that go on, by lot and place, and who left."""

    now: dict[Key, Stay] = field(default_factory=dict)
    left: list[Leaving] = field(default_factory=list)


def read_stays(steps: Iterable[Step], isolation: frozenset[int]) -> Stays:
    """The stays in the places of ``isolation`` after all ``steps``, which may come in any order."""
    found = Stays()
    held: Counter[Key] = Counter()
    for step in sorted(_without_reversed(steps), key=lambda step: (step.moment, step.event)):
        origin, target = step.origin, step.target
        if (origin.lot, origin.place) == (target.lot, target.place):
            continue
        gives = found.now.get((origin.lot, origin.place))
        if target.place in isolation:
            _join(found, held, step, gives if origin.place == target.place else None)
        if origin.place in isolation:
            _leave(found, held, step, gives, isolation)
    return found


def _join(found: Stays, held: Counter[Key], step: Step, gives: Stay | None) -> None:
    key = (step.target.lot, step.target.place)
    held[key] += step.n
    before = found.now.get(key)
    since = gives.since if gives else step.moment
    joined = gives.joined if gives else step.moment
    begun_by = gives.begun_by if gives else step.event
    if before is None:
        if held[key] > 0:
            found.now[key] = Stay(*key, since, joined, begun_by, held[key])
        return
    if step.origin.cause in BEGAN_THERE:
        since, joined = before.since, before.joined
    found.now[key] = replace(
        before, since=min(before.since, since), joined=max(before.joined, joined), n=held[key]
    )


def _leave(
    found: Stays, held: Counter[Key], step: Step, stay: Stay | None, isolation: frozenset[int]
) -> None:
    key = (step.origin.lot, step.origin.place)
    held[key] -= step.n
    if stay is None:
        return
    stays_apart = step.target.place in isolation
    if not stays_apart and step.target.cause not in ENDED_THERE:
        found.left.append(Leaving(stay, step.event, step.moment, step.n))
    if held[key] > 0:
        found.now[key] = replace(stay, n=held[key])
    else:
        del found.now[key]


def _without_reversed(steps: Iterable[Step]) -> list[Step]:
    """Steps that were taken back fall away together with what took them back."""
    back: Counter[tuple[datetime, End, End, int]] = Counter()
    plain = []
    for step in steps:
        if step.reversal:
            back[step.moment, step.target, step.origin, step.n] += 1
        else:
            plain.append(step)
    kept = []
    for step in plain:
        key = (step.moment, step.origin, step.target, step.n)
        if back[key]:
            back[key] -= 1
        else:
            kept.append(step)
    return kept


@dataclass(frozen=True, slots=True)
class LeastDays:
    """Least days for a group from a day on; ``group`` is a name, blank for all others."""

    group: str
    days: int
    since: date


def least_days(rules: Sequence[LeastDays], names: Sequence[str], day: date) -> LeastDays | None:
    """The rule that held on ``day`` for animals whose names are ``names``, the narrowest first.

    Of one group the newest holds; of several groups the narrowest; the blank one for all others.
    """
    in_force: dict[str, LeastDays] = {}
    for rule in sorted(rules, key=lambda rule: rule.since):
        if rule.since <= day:
            in_force[rule.group.casefold()] = rule
    for name in (*names, ""):
        if found := in_force.get(name.casefold()):
            return found
    return None


def ends_on(joined: date, rule: LeastDays | None) -> date | None:
    """The day on which the least days are full; none without a rule."""
    return joined + timedelta(days=rule.days) if rule else None


def by_lot_and_place(rows: Iterable[tuple[int, int, datetime]]) -> Mapping[Key, list[datetime]]:
    """Moments by lot and place, in order."""
    found: dict[Key, list[datetime]] = defaultdict(list)
    for lot, place, moment in rows:
        found[lot, place].append(moment)
    return {key: sorted(moments) for key, moments in found.items()}


def released(moments: Sequence[datetime], *, after: datetime, by: datetime) -> bool:
    """Whether a release was signed after the last joined, and not later than ``by``."""
    return any(after <= moment <= by for moment in moments)
