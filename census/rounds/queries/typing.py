"""Which counts want a second typing from the paper, and which second typings differ."""

from collections.abc import Iterable
from dataclasses import dataclass

from ..models import Census, Count, Retyping
from ..rules.compare import Comparison
from ..rules.words import Verdict
from .reading import LineRead, Row, read_census


@dataclass(frozen=True, slots=True)
class ToRetype:
    """One count whose paper is typed a second time; the first typing is not shown."""

    row: Row
    part: LineRead
    count: Count


def typed_from_paper(count: Count) -> bool:
    """Somebody else than the counter typed it: it came from paper (or from a letter)."""
    return count.counter_id != count.typed_by_id


def to_retype(census: Census) -> list[ToRetype]:
    """Latest counts from paper of class A, or that differ from the book, typed once only."""
    return retype_of(read_census(census), retyped(census))


def differing(census: Census) -> list[Retyping]:
    """Second typings that say something else than the count that still stands."""
    return list(
        Retyping.objects.filter(count__line__sheet__census=census, agrees=False, count__replaced_by=None)
        .select_related("count__line__sheet", "count__typed_by", "typed_by")
        .order_by("count__line__sheet__number", "count__line__number")
    )


def retype_of(rows: Iterable[Row], retyped: set[int]) -> list[ToRetype]:
    """The same, from rows in hand and the ids of the counts that were typed twice."""
    return [
        ToRetype(row, part, count)
        for row in rows
        for part in row.parts
        for count in [part.latest]
        if count is not None and typed_from_paper(count) and count.pk not in retyped
        if row.line.count_class == "A" or _differs(row.latest)
    ]


def retyped(census: Census) -> set[int]:
    """Ids of the counts whose paper was typed twice."""
    return set(Retyping.objects.filter(count__line__sheet__census=census).values_list("count_id", flat=True))


def _differs(comparison: Comparison | None) -> bool:
    return comparison is not None and comparison.verdict in (Verdict.OUTSIDE, Verdict.MINIMUM)
