"""Censuses that are at work: neither closed nor given up."""

from django.db.models import QuerySet

from inventory.doors.once import once

from ..models import Census
from ..rules.states import CENSUS_DONE

DONE = [state.value for state in CENSUS_DONE]


def running() -> QuerySet[Census]:
    """For use in another query; a page that reads them asks :func:`running_censuses`."""
    return Census.objects.exclude(state__in=DONE)


@once
def running_censuses() -> list[Census]:
    """All of them, newest first. One query."""
    return list(running().select_related("period"))
