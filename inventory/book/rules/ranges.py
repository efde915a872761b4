"""A number that nobody could count exactly: the least and the most that it can have been. Pure.

Eggs and young are often many, small and in motion. The number itself stays the best value, by which the book
reckons; the bounds stand beside it, both inclusive, and either may be left out. They are what the writer saw
and no interval of statistics.
"""

from collections.abc import Iterator
from typing import NamedTuple

from .kinds import EventKind

# What may be stated so: what hatched, was born, or was laid. All else is counted, or left open.
RANGED = frozenset({EventKind.BORN})
# Of a bound, as of the number itself.
MOST = 999_999_999


class Bounds(NamedTuple):
    """``low`` and ``high``, at least one of them."""

    low: int | None
    high: int | None


def bounds_of(low: int | None, high: int | None) -> Bounds | None:
    """None when nothing was said."""
    return None if low is None and high is None else Bounds(low, high)


def problems(number: int, bounds: Bounds, *, may_be_one: bool) -> Iterator[tuple[str, str]]:
    """What is wrong with the bounds of ``number``: (field, what to do)."""
    low, high = bounds
    if not may_be_one:
        field = "at_least" if low is not None else "at_most"
        yield field, "only eggs, and young that were born or hatched, may be a range: leave it empty"
        return
    for field, value in (("at_least", low), ("at_most", high)):
        if value is not None and not 0 <= value <= MOST:
            yield field, f"{value} where a whole number from 0 to {MOST} was expected"
    if low is not None and low > number:
        yield "at_least", f"at least {low} is more than the number itself, {number}; correct one of them"
    if high is not None and high < number:
        yield "at_most", f"at most {high} is less than the number itself, {number}; correct one of them"


def in_words(number: str, bounds: Bounds) -> str:
    """ "about 40, between 30 and 60" for the ``number`` in words, with its unit if it has one."""
    if bounds.low == bounds.high:
        return f"exactly {number}"
    return f"about {number}, {alone_in_words(bounds)}"


def alone_in_words(bounds: Bounds) -> str:
    """ "between 30 and 60", where the number stands elsewhere."""
    low, high = bounds
    if low is None:
        return f"at most {high:,}"
    if high is None:
        return f"at least {low:,}"
    return f"between {low:,} and {high:,}"
