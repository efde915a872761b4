"""The named numbers in use, and how they came to be."""

from dataclasses import dataclass
from datetime import datetime

from inventory.db.prepared import Prepared, Question
from inventory.doors.once import once

from ..models import Setting
from ..rules.settings import NAMED, Named, in_use

_CHANGES = Prepared(lambda: Setting.objects.order_by("since", "id").values_list("name", "value"))


def asked_numbers() -> Question | None:
    """What :func:`numbers_in_use` asks, for who reads ahead."""
    return _CHANGES.of()


@once
def numbers_in_use(*, at: datetime | None = None) -> dict[str, int]:
    """Every named number as it stood at ``at`` (None: now). One query."""
    if at is None:
        return in_use(_CHANGES())
    changes = Setting.objects.order_by("since", "id").filter(since__lte=at)
    return in_use(changes.values_list("name", "value"))


@dataclass(frozen=True, slots=True)
class NumberRow:
    """One number on the page, with its changes, newest first."""

    name: str
    named: Named
    value: int
    changes: list[Setting]


def numbers_with_history() -> list[NumberRow]:
    """All numbers in the order of their list. One query."""
    by_name: dict[str, list[Setting]] = {name: [] for name in NAMED}
    for change in Setting.objects.select_related("by").order_by("-since", "-id"):
        by_name.setdefault(change.name, []).append(change)
    return [
        NumberRow(name, named, by_name[name][0].value if by_name[name] else named.default, by_name[name])
        for name, named in NAMED.items()
    ]
