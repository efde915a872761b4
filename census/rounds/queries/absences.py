"""Animals that a running census found absent, not settled yet: see :mod:`inventory.permits.absences`."""

from collections.abc import Collection, Iterable

from django.urls import reverse

from inventory.permits.absences import Absence

from .reading import Row, read_census
from .running import running_censuses


def open_absences(taxa: Collection[int]) -> Iterable[Absence]:
    """Lines of these taxa that were counted below the book, from the first count that was: a second count
    or a settlement later does not put off the day on which they were found absent.

    A census is read whole, as the page Today reads it anyway. A constant number of queries for each that is
    not done.
    """
    for census in running_censuses():
        for row in read_census(census):
            if any(part.line.taxon_id in taxa for part in row.parts):
                yield from _of_row(row)


def _of_row(row: Row) -> Iterable[Absence]:
    latest = row.latest.difference if row.latest else None
    lots = tuple(lot.pk for part in row.parts for lot in part.lots)
    moments = [part.counts[min(part.counts)].counted_at for part in row.parts if part.counts]
    if latest is None or latest >= 0 or not lots or not moments or not row.needs_settling:
        return
    yield Absence(
        lots=lots,
        place=row.line.place_id,
        n=-latest,
        found_at=max(moments),
        page=reverse("census_line", args=[row.line.sheet.number, row.line.number]),
    )
