"""Sets four-digit codes and checks them. A wrong one is counted before it is looked at."""

from dataclasses import dataclass
from datetime import datetime

from django.contrib.auth.hashers import check_password, make_password
from django.core.signing import Signer
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from ..models import CodeTries, Device, Person, PersonCode
from ..queries import has_left
from ..rules.codes import LOCKED_FOR, WRONG_IN_ALL, WRONG_ON_A_DEVICE, what_is_wrong_with

_SALT = "people.pass"


class CodeRefused(Exception):
    """The code was not taken as somebody's; the message says why."""


class WrongCode(Exception):
    """Not confirmed. ``tries_left`` is 0 while locked, until ``locked_until``."""

    def __init__(self, message: str, tries_left: int, locked_until: datetime | None) -> None:
        super().__init__(message)
        self.tries_left = tries_left
        self.locked_until = locked_until


@dataclass(frozen=True, slots=True)
class Confirmed:
    """A signed statement that ``person`` gave the right code on a device."""

    person: Person
    signed: str


@transaction.atomic
def set_code(person: Person, code: str, *, by: Person, now: datetime) -> None:
    """Gives ``person`` a code, and opens what wrong tries had locked. Raises :class:`CodeRefused`."""
    wrong = what_is_wrong_with(code)
    if wrong:
        raise CodeRefused(f"This cannot be a code: {wrong}.")
    PersonCode.objects.update_or_create(
        person=person,
        defaults={"code_hash": make_password(code), "changed_at": now, "changed_by": by},
    )
    unlock(person)


@transaction.atomic
def take_code_away(person: Person) -> None:
    """From now on nobody is confirmed as ``person`` until they choose a new code."""
    PersonCode.objects.filter(person=person).delete()
    unlock(person)


def unlock(person: Person) -> None:
    """Forgets wrong tries on every device."""
    CodeTries.objects.filter(person=person).update(failed=0, locked_until=None)


def check_code(*, person: Person | None, code: str, device: Device, now: datetime) -> Confirmed:
    """Confirms that ``code`` is the person's. Raises :class:`WrongCode`.

    The try is counted first and taken back when it was right, so that many at once win nothing.
    Nobody, somebody without a code and a wrong code are answered alike, and take as long.
    """
    left, locked_until = _count_a_try(person, device, now)
    if locked_until:
        raise WrongCode(
            "Too many wrong codes. Try again in a quarter of an hour, or ask the registrar to unlock it.",
            0,
            locked_until,
        )
    gone = person is not None and has_left(person, today=timezone.localdate(now))
    held = PersonCode.objects.filter(person=person).first() if person and not gone else None
    right = check_password(code, held.code_hash if held else _nobodys_hash())
    if not (right and held and person):
        last = " Now it is locked for a quarter of an hour." if left == 0 else ""
        raise WrongCode(f"This is not the code of that person.{last}", left, None)
    unlock(person)
    stated = {
        "person": person.pk,
        "device": device.pk,
        "at": now.isoformat(),
        "code": held.changed_at.isoformat(),
    }
    return Confirmed(person, Signer(salt=_SALT).sign_object(stated))


def _count_a_try(person: Person | None, device: Device, now: datetime) -> tuple[int, datetime | None]:
    """Tries left after this one, and until when it is locked if it was before."""
    if person is None:
        return WRONG_ON_A_DEVICE - 1, None
    left = WRONG_ON_A_DEVICE
    with transaction.atomic():
        for on, limit in ((device, WRONG_ON_A_DEVICE), (None, WRONG_IN_ALL)):
            row, _ = CodeTries.objects.get_or_create(person=person, device=on)
            tries = CodeTries.objects.filter(pk=row.pk)
            # A lock that has run out begins anew.
            tries.filter(locked_until__lte=now).update(failed=0, locked_until=None)
            tries.filter(Q(locked_until=None)).update(failed=F("failed") + 1)
            tries.filter(locked_until=None, failed__gt=limit).update(locked_until=now + LOCKED_FOR)
            row.refresh_from_db()
            if row.locked_until:
                return 0, row.locked_until
            if row.failed == limit:
                tries.update(locked_until=now + LOCKED_FOR)
            left = min(left, limit - row.failed)
    return left, None


_nobody: list[str] = []


def _nobodys_hash() -> str:
    """A hash that no code fits, made once: checking against it takes as long as against a real one."""
    if not _nobody:
        _nobody.append(make_password("no four digits"))
    return _nobody[0]
