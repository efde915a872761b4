"""Gives a place of a running census the sheet that it has not."""

from datetime import datetime

from django.db import transaction

from inventory.book.models import Place, PlaceKind
from inventory.people.models import Person

from ..models import Census, Sheet
from ..queries.holdings import holdings, is_counted
from ..queries.planned_lines import coverage, planned_lines, presence_of_before
from ..queries.unsheeted import places_covered
from ..rules.who import DECIDES
from .allowed import require
from .moving import running
from .opening import make_sheets, write_lines
from .refused import CensusRefused


@transaction.atomic
def add_sheet(*, census: Census, place: Place, by: Person, now: datetime) -> Sheet:
    """Makes the sheet of a place that was left out when the census was opened, not issued.

    It covers what a sheet covers (:func:`open_census`), save what another sheet counts already. Its lines are
    what the book holds there now, and what it held at the cut-off if that is past. Raises
    :class:`CensusRefused`.
    """
    require(by, DECIDES, "add a sheet to a census")
    census = running(census)
    if place.kind == PlaceKind.FEED:
        raise CensusRefused(f"{place.code} holds feed, which is never stock.")
    taken = places_covered(census)
    if place.pk in taken:
        raise CensusRefused(f"{place.code} is on a sheet of {census.code} already.")
    covered = [one for one in coverage([place])[0] if one.pk not in taken]
    found = holdings(before=now)
    if census.cutoff < now:
        here = {(one.lot_id, one.place_id) for one in found}
        then = holdings(before=census.cutoff)
        found += [one for one in then if (one.lot_id, one.place_id) not in here]
    planned = planned_lines(found, covered)
    planned += presence_of_before(census, covered, planned)
    sheet = make_sheets(census, [place])[0]
    write_lines(
        [sheet], [covered], [plan for plan in planned if is_counted(plan.count_class, census.classes)]
    )
    return sheet
