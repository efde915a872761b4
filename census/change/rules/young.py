"""Deaths within 30 days of birth: the least number that the book proves, and the most it allows.

A group's book says how many were born, died and left on each day, not which. Of a lot that also
holds older animals, a death may have been any of them. So two bounds are given.

* **Least**: every death took an older animal when one could have been there, and every other
  departure took the youngest, so that older ones were left to die.
* **Most**: every death took a young animal when one could have been there (the one that soonest
  stops being young), and every other departure took an older one.

Both are exact for what a lot's days say: it is never better for either side to take another
animal, because of two animals present the one that is young for longer can do all that the other
can (for *most*), and the other way round (for *least*).

Source of the rule "death date - birth date <= 30 days": the yearly stock list of the Great Britain
zoo standards, *from memory*.
"""

from bisect import insort
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

YOUNG_DAYS = 30


@dataclass(frozen=True, slots=True)
class LotDay:
    """One day of a lot; ``day`` is a proleptic ordinal (``date.toordinal``), numbers are >= 0.

    ``born`` are (last day on which they are young, number) pairs.
    """

    day: int
    born: Sequence[tuple[int, int]] = ()
    other_in: int = 0
    deaths: int = 0
    other_out: int = 0


@dataclass(frozen=True, slots=True)
class Bounds:
    """How many deaths were of young animals: at least, at most."""

    least: int = 0
    most: int = 0


def deaths_of_young(*, start: int, days: Iterable[LotDay], first_day: int) -> Bounds:
    """Bounds for one lot. ``start`` animals are there before the first of ``days``, none of them young.

    Only deaths on or after ``first_day`` count; earlier days are given because who left then is not
    there to die later. On one day arrivals come before departures. A departure from an empty lot
    takes an animal that is not in the book, which is never young.
    """
    in_order = sorted(days, key=lambda lot_day: lot_day.day)
    return Bounds(
        least=_least(max(start, 0), in_order, first_day), most=_most(max(start, 0), in_order, first_day)
    )


class _Herd:
    """Animals present: the old, and the young by the last day on which they are young."""

    def __init__(self, old: int) -> None:
        self.old = old
        self.young: list[list[int]] = []  # [last young day, number], ascending

    def begin(self, lot_day: LotDay) -> None:
        """A new day: who is no longer young is old; then the arrivals of the day."""
        for last_day, n in lot_day.born:
            if last_day >= lot_day.day:
                insort(self.young, [last_day, n])
            else:
                self.old += n
        while self.young and self.young[0][0] < lot_day.day:
            self.old += self.young.pop(0)[1]
        self.old += lot_day.other_in

    def take_old(self, n: int) -> int:
        """Takes up to ``n`` old ones; returns how many are still to be taken."""
        taken = min(n, self.old)
        self.old -= taken
        return n - taken

    def take_young(self, n: int, *, youngest: bool) -> int:
        """Takes up to ``n`` young ones; returns how many are still to be taken."""
        while n and self.young:
            cohort = self.young[-1 if youngest else 0]
            taken = min(n, cohort[1])
            cohort[1] -= taken
            n -= taken
            if not cohort[1]:
                self.young.remove(cohort)
        return n


def _least(start: int, days: Sequence[LotDay], first_day: int) -> int:
    herd, least = _Herd(start), 0
    for lot_day in days:
        herd.begin(lot_day)
        counts = lot_day.day >= first_day
        # Before the period a death is a departure like any other.
        free = lot_day.other_out + (0 if counts else lot_day.deaths)
        herd.take_old(herd.take_young(free, youngest=True))
        if counts:
            young = herd.take_old(lot_day.deaths)
            least += young - herd.take_young(young, youngest=True)
    return least


def _most(start: int, days: Sequence[LotDay], first_day: int) -> int:
    herd, most = _Herd(start), 0
    for lot_day in days:
        herd.begin(lot_day)
        free = lot_day.other_out
        if lot_day.day >= first_day:
            left = herd.take_young(lot_day.deaths, youngest=False)
            most += lot_day.deaths - left
            herd.take_old(left)
        else:
            free += lot_day.deaths
        herd.take_young(herd.take_old(free), youngest=False)
    return most
