"""Keeps what was refused. A door calls it after the refusal, outside the transaction that was taken back."""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from inventory.doors.storable import storable
from inventory.people.models import Person

from ..models import RefusedAbout, RefusedEntry
from ..models.refused import Door

_ABOUT_MOST = 500
"""A load that names ten thousand lots is found by the first of them, and by its own page."""


@transaction.atomic
def keep_refused(
    *,
    door: Door,
    what: str,
    said: Mapping[str, Any],
    why: Iterable[object],
    about: Collection[tuple[str, str]],
    by: Person | None,
    by_name: str = "",
    now: datetime,
) -> RefusedEntry:
    """Writes one refusal down. ``about`` are pairs of "lot", "place" or "permit" and what it was called."""
    kept = RefusedEntry.objects.create(
        at=now,
        by=by,
        by_name=(by.name if by else by_name)[:120],
        door=door.value,
        what=what[:200],
        said={_plain(key): _plain(value) for key, value in said.items()},
        why="\n".join(_plain(str(one)) for one in why),
    )
    named = [(kind, key) for kind, key in dict.fromkeys(about) if key][:_ABOUT_MOST]
    RefusedAbout.objects.bulk_create(
        RefusedAbout(refused=kept, kind=kind, key=_plain(key)[:60]) for kind, key in named
    )
    return kept


def _plain(value: Any) -> Any:
    return storable(value) if isinstance(value, str) else value
