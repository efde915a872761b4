"""Takes that no line covered when they were written, looked at again: their names may be known by now.

A name that nobody could read waits in the review of names; what a person finds there holds for the take
too. A line that an amendment brought later does not reach back to the trips before it.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from django.db.models import Min, Q

from ..models import PermitLine, Take, Trip
from ..rules.scopes import line_for
from .reading import animal_of, read_permits


def place_strays(takes: Sequence[Take], trips: Mapping[int, Trip]) -> None:
    """Sets the kind of animal and the line of takes as they are known now; the rows are not written.

    ``trips`` are the trips as they stand, by the id of the take. No query where each has its line and
    its name stands; seven otherwise.
    """
    for take in takes:
        if take.taxon is not None and take.taxon.joined_into is not None:
            take.taxon = take.taxon.joined_into
    strays = [take for take in takes if take.line_number is None and take.taxon is not None]
    if not strays:
        return
    reads = read_permits(list({take.permit.pk: take.permit for take in strays}.values()), on=date.max)
    since = _since(reads)
    for take in strays:
        read = reads.get(take.permit_id)
        if read is None or take.taxon is None:
            continue
        day = trips[take.pk].ends_on
        covers = [one for one in read.covers if since.get((take.permit_id, one.number), day) <= day]
        take.line_number = line_for(animal_of(take.taxon), covers)


def _since(permits: Iterable[int]) -> dict[tuple[int, int], date]:
    """From when on each line was on its permit; what stood there from the first counts from ever."""
    lines = PermitLine.objects.filter(version__permit__in=list(permits)).order_by()
    rows = lines.values_list("version__permit_id", "number").annotate(
        since=Min("version__amended_on"), first=Min("version__number", filter=Q(version__number=1))
    )
    return {(permit, number): date.min if first else since for permit, number, since, first in rows}
