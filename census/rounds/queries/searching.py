"""Animals that a census did not find: until when somebody has to search for them.

A search ends by what the book comes to know, by whatever door it was entered: that the animal died, left,
moved or was found. Nobody need come back to the census to say so.
"""

from collections.abc import Iterable
from datetime import datetime, tzinfo

from django.db.models import Exists, OuterRef, Q, QuerySet

from inventory.book.models import Flow
from inventory.book.models.cells import Standing

from ..models import Decision, Notice
from ..rules.words import How, NoticeKind
from .runs import searched_on
from .settings import settings_in_use

_POSTED = Decision.events.through.objects.filter(decision=OuterRef(OuterRef("pk"))).values("event")
# Of the animals that a decision booked as missing some are missing still.
STILL_MISSING = Exists(
    Flow.objects.filter(event__in=_POSTED, to_cell__standing=Standing.MISSING, to_cell__balance__gt=0)
)


def asks() -> QuerySet[Decision]:
    """The newest decisions of their lines that leave something open: a question, or a search that goes on."""
    later = Decision.objects.filter(line=OuterRef("line"), pk__gt=OuterRef("pk"))
    open_ones = Q(how=How.OPEN_QUERY.value) | Q(STILL_MISSING, how=How.MISSING.value)
    return Decision.objects.filter(open_ones, ~Exists(later))


def searches_over(decisions: Iterable[int]) -> frozenset[int]:
    """Those of ``decisions``, which booked animals as missing, of whose animals none is missing now.

    One query, none where there are none.
    """
    asked = list(decisions)
    if not asked:
        return frozenset()
    over = Decision.objects.filter(~STILL_MISSING, pk__in=asked)
    return frozenset(over.values_list("pk", flat=True))


def answered(notices: Iterable[Notice], *, now: datetime, zone: tzinfo) -> frozenset[int]:
    """Which unseen notices ask about an animal that nobody searches any more.

    Four queries, none where no notice asks about an animal.
    """
    asked = [
        one
        for one in notices
        if one.kind == NoticeKind.NOT_SEEN and one.seen_at is None and one.line_id is not None
    ]
    if not asked:
        return frozenset()
    lines = {one.line_id for one in asked if one.line_id is not None}
    searched = searched_on(lines, settings_in_use(), now=now, zone=zone)
    return frozenset(one.pk for one in asked if not any(missed.is_in(one.words) for missed in searched))
