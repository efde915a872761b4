"""Keeps what the book had beside each first count, on the day on which the two are compared."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q

from ..models import Census, FirstCompared, Line
from ..queries.reading import Row, read_rows


def keep_first_compared(rows: Iterable[Row], *, now: datetime) -> None:
    """Keeps the book of every fully counted row that has none kept; those that have keep it. Two queries."""
    found = {
        part.line.pk: part for row in rows if all(1 in p.counts for p in row.parts) for part in row.parts
    }
    there = set(FirstCompared.objects.filter(line__in=found).values_list("line", flat=True))
    FirstCompared.objects.bulk_create(
        FirstCompared(line=part.line, book=part.present(1), compared_at=now)
        for pk, part in found.items()
        if pk not in there
    )


def keep_of_lines(census: Census, lines: Iterable[Line], *, now: datetime) -> None:
    """The same for ``lines`` that are counted after the census was compared, and those joined to them."""
    chosen = list(lines)
    wanted = Q(pk__in=[line.pk for line in chosen])
    wanted |= Q(joined_key__in=[line.joined_key for line in chosen if line.joined_key])
    keep_first_compared(read_rows(census, Line.objects.filter(wanted)), now=now)
