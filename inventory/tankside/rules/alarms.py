"""When deaths are an alarm. Pure; the numbers are the house's named ones (common practice, no source)."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

WINDOW = timedelta(hours=24)
# Who types an old slip need not wake anybody; an entry that waited a day without signal should.
REACHES_BACK = timedelta(hours=72)
# One animal of a lot of twenty is 5 % of it and no mass death: a share is of two animals or more.
SHARE_OF_AT_LEAST = 2


class Reason(StrEnum):
    CLASS_A = "class A"
    TANK = "tank"
    LOT = "lot"

    @property
    def words(self) -> str:
        """As people read it."""
        return {
            Reason.CLASS_A: "a death of class A",
            Reason.TANK: "many deaths in a tank",
            Reason.LOT: "many deaths of a lot",
        }[self]


@dataclass(frozen=True, slots=True)
class Limits:
    """Deaths in a tank in 24 hours; per cent of a lot in 24 hours."""

    in_day: int = 3
    lot_percent: int = 5


@dataclass(frozen=True, slots=True)
class Deaths:
    """What is known when a death has been booked.

    ``in_tank`` and ``of_lot`` are (moment, number) of the deaths not taken back, this one included.
    ``held_now`` is what the lot holds in the house now, after all of them.
    """

    moment: datetime
    class_a: bool
    in_tank: tuple[tuple[datetime, int], ...]
    of_lot: tuple[tuple[datetime, int], ...]
    held_now: int


def most_in_a_day(deaths: Iterable[tuple[datetime, int]], moment: datetime) -> int:
    """The most deaths in any 24 hours that hold ``moment``: entries may come in any order."""
    near = sorted((at, n) for at, n in deaths if abs(at - moment) < WINDOW)
    most = inside = end = 0
    for start, leaves in near:
        if start > moment:
            break
        while end < len(near) and near[end][0] < start + WINDOW:
            inside += near[end][1]
            end += 1
        most = max(most, inside)
        inside -= leaves
    return most


def reasons(deaths: Deaths, limits: Limits, *, now: datetime) -> list[tuple[Reason, int]]:
    """Why this death is an alarm, with the number behind each reason; empty when it is none."""
    if now - deaths.moment > REACHES_BACK:
        return []
    found = []
    if deaths.class_a:
        found.append((Reason.CLASS_A, 1))
    in_tank = most_in_a_day(deaths.in_tank, deaths.moment)
    if in_tank >= limits.in_day:
        found.append((Reason.TANK, in_tank))
    of_lot = most_in_a_day(deaths.of_lot, deaths.moment)
    before = max(deaths.held_now, 0) + of_lot
    if of_lot >= SHARE_OF_AT_LEAST and 100 * of_lot >= limits.lot_percent * before:
        found.append((Reason.LOT, of_lot))
    return found
