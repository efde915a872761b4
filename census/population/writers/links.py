"""Where the events behind a figure are: the list that the population change keeps for its own figures."""

from datetime import date
from urllib.parse import urlencode

from django.urls import reverse

from ..rules.answer import Datum
from ..rules.asked import Asked
from ..rules.course import Key
from ..rules.spans import Span

DEATHS = "died+died_within_30_days"
BIRTHS = "born+divided+settled"


def events(asked: Asked, key: Key, figure: str, span: Span, *, other: int | None = None) -> str:
    """The address of the events of one figure of a row; as known at one moment, as everything here."""
    by_place = bool(key.place_id)
    query = {
        "first_day": span.first.isoformat(),
        "last_day": span.last.isoformat(),
        "by": "place" if by_place else "taxon",
        "scope": asked.scope.value,
        "basis": "known",
        "unit": asked.unit,
        "figure": figure,
    }
    if asked.known_at is not None:
        query["known_at"] = asked.known_at.isoformat()
    # Rows that are places of one taxon do not name it.
    taxon = key.taxon_id or asked.taxon
    if taxon:
        query["taxon"] = str(taxon)
    if by_place:
        query["group"] = str(key.place_id)
    if other is not None:
        query["other"] = str(other)
    return f"{reverse('change_events')}?{urlencode(query)}"


def number(n: int, asked: Asked, key: Key, figure: str, span: Span) -> Datum:
    """A figure with its events; nothing stands behind a zero, and no one list behind a sum over a family."""
    listed = key.taxon_id or not asked.family
    return Datum(n, href=events(asked, key, figure, span) if n and listed else "")


def of_days(first: date, last: date) -> Span:
    """Days as a span without a name."""
    return Span(first, last, "")
