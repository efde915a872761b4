"""Which device asks, whom it may name, and what the registrar sees of them."""

import hmac
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.core.signing import BadSignature, Signer
from django.db.models import F, QuerySet
from django.utils import timezone

from inventory.db.prepared import Instances
from inventory.doors import clock

from ..models import CodeTries, Device, Person, PersonCode
from ..rules.codes import Pass
from ..rules.devices import token_hash
from ..rules.roles import Role

_SALT = "people.pass"
# Asked with every request of a device.
_DEVICES = Instances(
    lambda wanted: Device.objects.exclude(token_hash="").filter(token_hash=wanted).order_by("pk"),
    Device._meta.get_field("token_hash"),
    model=Device,
)


class NoDevice(Exception):
    """The token opens nothing. ``revoked``: it was a device's own, until somebody put it out."""

    def __init__(self, message: str, *, revoked: bool) -> None:
        super().__init__(message)
        self.revoked = revoked


def device_of(token: str) -> Device:
    """The device that holds ``token``. Raises :class:`NoDevice`. One query."""
    wanted = token_hash(token)
    device = next(iter(_DEVICES(wanted)), None)
    if device is None or not hmac.compare_digest(device.token_hash, wanted):
        raise NoDevice("This device is not enrolled here. Ask the registrar for a code.", revoked=False)
    if device.revoked_at:
        raise NoDevice(
            f"{device.name} was put out by the registrar. What it keeps stays on it and is sent when it "
            "is enrolled again.",
            revoked=True,
        )
    return device


def devices() -> QuerySet[Device]:
    """All devices, those that are in first."""
    return Device.objects.select_related("made_by", "revoked_by").order_by(
        F("revoked_at").asc(nulls_first=True), "name"
    )


def working_people(roles: Collection[Role], *, today: date) -> QuerySet[Person]:
    """People of the house on a day who have one of ``roles``."""
    return (
        Person.objects.filter(user__groups__name__in=[role.value for role in roles])
        .exclude(left_on__lte=today)
        .distinct()
        .order_by("name")
    )


def read_pass(signed: str) -> Pass | None:
    """What a signed pass states; None for what we did not sign."""
    try:
        stated = Signer(salt=_SALT).unsign_object(signed)
        return Pass(
            stated["person"],
            stated["device"],
            datetime.fromisoformat(stated["at"]),
            datetime.fromisoformat(stated["code"]),
        )
    except (BadSignature, KeyError, TypeError, ValueError):
        return None


def code_changes(people: Collection[int]) -> dict[int, datetime]:
    """When each of these people last chose a code; without one, or having left, they are left out. One query.

    So a pass of somebody who has left holds no more: it names a code that is not there.
    """
    today = timezone.localdate(clock.now())
    held = PersonCode.objects.filter(person__in=people).exclude(
        person__left_on__isnull=False, person__left_on__lte=today
    )
    return dict(held.values_list("person_id", "changed_at"))


@dataclass(frozen=True, slots=True)
class CodeState:
    """What the registrar sees of somebody's code, never the code."""

    person: Person
    changed_at: datetime | None
    locked_until: datetime | None


def code_states(roles: Collection[Role], *, now: datetime, today: date) -> list[CodeState]:
    """Everybody who may enter at the tank side. Three queries."""
    people = list(working_people(roles, today=today))
    changed = code_changes([person.pk for person in people])
    locked: dict[int, datetime] = {}
    for person, until in CodeTries.objects.filter(locked_until__gt=now).values_list(
        "person_id", "locked_until"
    ):
        if until:
            locked[person] = max(until, locked.get(person, until))
    return [CodeState(one, changed.get(one.pk), locked.get(one.pk)) for one in people]
