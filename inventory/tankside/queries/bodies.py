"""Bodies: what was said last of each, and who holds a bag."""

from collections.abc import Collection

from django.db.models import Exists, OuterRef, QuerySet

from ..models import HELD, Body, Kept


def bodies(*, hidden: Collection[int] = ()) -> QuerySet[Body]:
    """The newest statement of each death that was not taken back, the newest first.

    ``hidden``: places whose deaths are hidden from the reader.
    """
    later = Body.objects.filter(event=OuterRef("event"), pk__gt=OuterRef("pk"))
    return (
        Body.objects.exclude(Exists(later))
        .filter(event__reversed_by=None)
        .exclude(event__flows__from_cell__account__place__in=hidden)
        .select_related("event", "stated_by")
        .order_by("-id")
    )


def held() -> QuerySet[Body]:
    """Those that are to be found somewhere."""
    return bodies().filter(kept__in=HELD)


def for_the_veterinarian(*, hidden: Collection[int] = ()) -> QuerySet[Body]:
    """Those that wait for the veterinarian, the longest first."""
    return bodies(hidden=hidden).filter(kept=Kept.VET).order_by("id")


def holder_of(bag: str, *, but: int) -> Body | None:
    """The body of another event than ``but`` that is in this bag; None when the bag is free."""
    return held().filter(bag=bag).exclude(event_id=but).first() if bag else None
