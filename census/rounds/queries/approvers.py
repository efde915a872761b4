"""Who has a role, and what the ledger says about permits and loans of a line's animals."""

from collections.abc import Iterable

from django.db.models import Sum

from inventory.book.models import Flow, Lot
from inventory.people.models import Person
from inventory.people.queries import roles_of
from inventory.people.rules.roles import Role

from ..models import Census, Decision
from ..rules.reasons import REASONS
from ..rules.words import How
from .holdings import holdings


def roles_held(person: Person) -> frozenset[Role]:
    """The roles of a person; none without a sign-in. Read once for each person that is in hand."""
    return roles_of(person.user) if person.user is not None else frozenset()


def has_role(person: Person, role: Role) -> bool:
    """True when the person signs in with this role."""
    return role in roles_held(person)


def on_permit_or_loan(lots: Iterable[Lot]) -> bool:
    """True when any of these animals belongs to somebody else or came under a permit."""
    chosen = list(lots)
    if any(lot.owner for lot in chosen):
        return True
    return (
        Flow.objects.filter(to_cell__lot__in=chosen, to_cell__inside=True, from_cell__inside=False)
        .exclude(event__permit_number="")
        .exists()
    )


def tank_figures(census: Census, place_id: int, unit: str) -> tuple[int, int]:
    """(what the place holds at the cut-off, its net unexplained loss in this census so far), one unit."""
    here = [h for h in holdings(before=census.cutoff) if h.place_id == place_id and h.unit == unit]
    unexplained = [reason.name for reason in REASONS if reason.unknown_cause]
    moved = Decision.objects.filter(
        line__sheet__census=census,
        line__place_id=place_id,
        line__unit=unit,
        how=How.ADJUSTMENT.value,
        reason__in=unexplained,
    ).aggregate(n=Sum("n"))["n"]
    return sum(h.total for h in here if h.total > 0), -(moved or 0)
