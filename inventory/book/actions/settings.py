"""Changes a named number; what it was stays readable."""

from datetime import datetime

from django.db import transaction

from inventory.people.models import Person
from inventory.people.queries import roles_of
from inventory.people.rules.roles import Role

from ..models import Setting
from ..queries.settings import numbers_in_use
from ..rules.settings import check_number


class NotChanged(Exception):
    """A number that stays as it was; the message says why."""


@transaction.atomic
def change_number(*, name: str, value: int, by: Person, now: datetime, why: str = "") -> Setting | None:
    """Gives the number its new value from ``now`` on; nothing when it has that value already."""
    if by.user is None or Role.REGISTRAR not in roles_of(by.user):
        raise NotChanged(f"{by.name} is no registrar; the registrar changes the named numbers.")
    problem = check_number(name, value)
    if problem:
        raise NotChanged(problem)
    if numbers_in_use()[name] == value:
        return None
    return Setting.objects.create(name=name, value=value, since=now, by=by, why=why.strip()[:300])
