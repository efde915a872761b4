"""Bodies: what was said last of each, and who holds a bag."""

from collections.abc import Collection
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from inventory.book.models import Flow

from ..models import HELD, Body, Kept


def bodies(*, hidden: Collection[int] = ()) -> QuerySet[Body]:
    """The newest statement of each death that was not taken back, the newest first, with its animal and tank.

    ``hidden``: places whose deaths are hidden from the reader.
    """
    flows = Flow.objects.filter(event=OuterRef("event")).order_by("id")
    later = Body.objects.filter(event=OuterRef("event"), pk__gt=OuterRef("pk"))
    return (
        Body.objects.exclude(Exists(later))
        .filter(event__reversed_by=None)
        .exclude(event__flows__from_cell__account__place__in=hidden)
        .annotate(
            animal=Subquery(flows.values("from_cell__lot__taxon__scientific_name")[:1]),
            tank=Subquery(flows.values("from_cell__account__place__code")[:1]),
        )
        .select_related("event", "stated_by")
        .order_by("-id")
    )


def held() -> QuerySet[Body]:
    """Those that are to be found somewhere."""
    return bodies().filter(kept__in=HELD)


def for_the_veterinarian(*, hidden: Collection[int] = ()) -> QuerySet[Any]:
    """Those that wait for the veterinarian, the longest first."""
    return bodies(hidden=hidden).filter(kept=Kept.VET).order_by("id")


def holder_of(bag: str, *, but: int) -> Body | None:
    """The body of another event than ``but`` that is in this bag; None when the bag is free."""
    return held().filter(bag=bag).exclude(event_id=but).first() if bag else None
