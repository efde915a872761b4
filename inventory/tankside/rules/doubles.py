"""Which events look like one that was entered twice. Pure."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple


class Alike(NamedTuple):
    """What two entries of one happening have in common."""

    kind: str
    taxon: int
    place: int
    n: int


@dataclass(frozen=True, slots=True)
class Happening:
    """One event, as far as doubles go. ``by``: who entered it; ``timed``: its minute was stated."""

    event: int
    moment: datetime
    alike: Alike
    by: int = 0
    entered_at: datetime | None = None
    timed: bool = False


def pairs(
    happenings: Iterable[Happening], *, within: timedelta, decided: Collection[tuple[int, int]]
) -> list[tuple[Happening, Happening]]:
    """Each event with the nearest one before it that is alike, not further apart than ``within``.

    What was decided to be two is passed over, so that it is not asked again, and the next one before
    it is. The first of a pair is the one with the lower number, which was entered first.
    """
    groups: dict[Alike, list[Happening]] = defaultdict(list)
    for one in happenings:
        groups[one.alike].append(one)
    known = set(decided)
    found = []
    for alike in groups.values():
        alike.sort(key=lambda one: (one.moment, one.event))
        for index, later in enumerate(alike):
            for earlier in reversed(alike[:index]):
                if later.moment - earlier.moment > within:
                    break
                first, second = sorted((earlier, later), key=lambda one: one.event)
                if first.event != second.event and (first.event, second.event) not in known:
                    found.append((first, second))
                    break
    return sorted(found, key=lambda pair: -pair[1].event)


def looks_like_one(first: Happening, second: Happening, *, minutes: int) -> bool:
    """Whether the same person entered both within ``minutes``, as of minutes so near to each other.

    This is asked of a pair, which is of one kind, tank, taxon and number. Two slips of one day are no double.
    """
    near = timedelta(minutes=minutes)
    if first.by != second.by or first.entered_at is None or second.entered_at is None:
        return False
    timed = first.timed and second.timed
    return (
        timed
        and abs(second.moment - first.moment) <= near
        and abs(second.entered_at - first.entered_at) <= near
    )
