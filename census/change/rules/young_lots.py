"""Which lots are replayed for deaths of young: found over whole columns, for a report names all lots.

Lots are numbered one after another, so that a table has room for all of them.
"""

import numpy as np

from inventory.book.rules.columns import Numbers, Truths


def linked_lots(a: Numbers, b: Numbers, size: int) -> Numbers:
    """Of every lot below ``size`` the first of those that it is linked with, directly or through others, or
    itself. Lots ``a`` and ``b`` gave animals to each other, pair by pair."""
    first = np.arange(size)
    while (first[a] != first[b]).any():
        least = np.minimum(first[a], first[b])
        # Whole groups join, for the lots that they were called after do: so few rounds are needed.
        for lots in (first[a], first[b], a, b):
            np.minimum.at(first, lots, least)
        first = first[first]
    return first


def lots_to_replay(*, named: Numbers, born: Numbers, died: Numbers, first: Numbers) -> Truths:
    """Which lots are replayed, by their numbers: of those that are named, all of every linked group that had
    both births and deaths.

    A lot may stand in a column several times. ``first`` is the answer of :func:`linked_lots`.
    """
    births, deaths, among_them = (np.zeros(len(first), dtype=np.bool_) for _ in range(3))
    births[first[born]] = True
    deaths[first[died]] = True
    among_them[named] = True
    found: Truths = among_them & (births & deaths)[first]
    return found


def groups_with_young_deaths(
    *, born_on: Numbers, born: Numbers, died_on: Numbers, died: Numbers, days: int
) -> Numbers:
    """The groups in which anything died within ``days`` after a birth: in the others no death was of young.

    A birth of group ``born`` on day ``born_on``, a death of group ``died`` on ``died_on``, each at one
    position; days and groups are not below zero.
    """
    # A group's days stand far enough from those of the next that none is within reach of it.
    room = int(max(born_on.max(initial=0), died_on.max(initial=0))) + days + 1
    births = np.sort(born * room + born_on)
    deaths = died * room + died_on
    last_before = np.searchsorted(births, deaths, side="right") - 1
    since = deaths - np.append(births, -room)[last_before]
    found: Numbers = np.unique(died[since <= days])
    return found
