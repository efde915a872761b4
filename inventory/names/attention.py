"""What the names room asks people to look at: see :mod:`inventory.people.attention`."""

from datetime import datetime

from django.urls import reverse

from inventory.people.attention import Attention, Line
from inventory.people.models import House, Person
from inventory.people.rules.roles import Role

from .queries.queue import waiting

SHOWN = 10


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Names to review, oldest first. Three queries."""
    queue = waiting()
    total = queue.count()
    if not total:
        return []
    house = House.objects.select_related("registrar").first()
    owner = house.registrar.name if house and house.registrar else ""
    return [
        Attention(
            heading="Names to review",
            total=total,
            url=reverse("names_review"),
            roles=frozenset({Role.REGISTRAR, Role.CURATOR}),
            lines=tuple(
                Line(
                    f"“{check.typed}”: {check.verdict.replace('_', ' ')}, {_lots(check.n_lots)}",
                    reverse("name_review", args=[check.pk]),
                    owner,
                )
                for check in queue[:SHOWN]
            ),
        )
    ]


def _lots(n: int) -> str:
    return "1 lot" if n == 1 else f"{n} lots"
