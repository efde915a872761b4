"""What the book asks people to look at: see :mod:`inventory.people.attention`."""

from datetime import datetime

from django.urls import reverse

from inventory.people.attention import Attention, Line
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from . import blind
from .queries import lists
from .rules import words

SHOWN = 10


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Balances below zero, and events dated in a closed period. Four queries."""
    return [item for item in (_below_zero(person), _late_entries()) if item.total]


def _below_zero(person: Person) -> Attention:
    """From what the book holds now, not from the flags: a late birth ends it by itself."""
    rows = lists.below_zero(hidden=blind.hidden_from(person))
    return Attention(
        heading="Balances below zero: an arrival, a birth or a species is still to be entered",
        total=len(rows),
        url=reverse("below_zero"),
        roles=frozenset({Role.REGISTRAR, Role.AQUARIST}),
        lines=tuple(
            Line(
                f"{row.accession} {row.scientific_name} in {row.place_code}: {words.whole(row.held)}",
                reverse("lot", args=[row.accession]),
                row.owner,
                places=frozenset({row.place_id}),
            )
            for row in rows
        ),
    )


def _late_entries() -> Attention:
    flags = lists.late_entries()
    return Attention(
        heading="Entered late: events dated in a closed period",
        total=flags.count(),
        url=reverse("late_entries"),
        roles=frozenset({Role.REGISTRAR, Role.CURATOR}),
        lines=tuple(
            Line(
                f"{words.KIND_WORDS[flag.event.kind]} {flag.event.happened}, "
                f"entered by {flag.event.entered_by.name}",
                reverse("event", args=[flag.event_id]),
                flag.owner.name,
            )
            for flag in flags[:SHOWN]
        ),
    )
