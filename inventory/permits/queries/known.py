"""What the boat and the tank side need to know of the permits, as plain values for a list kept offline."""

from collections.abc import Collection
from datetime import date, tzinfo
from typing import Any

from ..models import Permit
from .accounts import LineAccount, PermitAccount, accounts


def limits_known(
    *, on: date, zone: tzinfo, hidden: Collection[int] = (), permits: Collection[Permit] | None = None
) -> list[dict[str, Any]]:
    """Permits that are valid on the day, with what is left by line; all of it can be written as JSON.

    ``hidden`` are the places that anybody counts now: lines with animals there come without a number,
    and so do limits on what is held. A constant number of queries.
    """
    chosen = list(Permit.objects.select_related("authority") if permits is None else permits)
    found = accounts(chosen, as_of=on, zone=zone, hidden=hidden)
    return [
        _told(one)
        for one in found.values()
        if one.read.version.valid_from <= on <= one.read.version.valid_until
    ]


def _told(one: PermitAccount) -> dict[str, Any]:
    version = one.read.version
    return {
        "number": one.permit.number,
        "called": one.permit.short,
        "valid_from": version.valid_from.isoformat(),
        "valid_until": version.valid_until.isoformat(),
        "people": one.read.people,
        "gear": version.gear,
        "seasons": version.seasons,
        "area_words": version.area_words,
        "conditions": version.conditions,
        "lines": [_line(row) for row in one.lines if row.line is not None],
    }


def _line(row: LineAccount) -> dict[str, Any]:
    line = row.line
    assert line is not None
    secret = row.hidden or line.per == "held"
    return {
        "number": line.number,
        "words": line.words,
        "names": list(row.names),
        "scope": row.scope,
        "limit": line.limit,
        "left": None if secret else row.used.left,
        "per": line.per,
        "unit": line.unit,
        "condition": line.condition,
    }
