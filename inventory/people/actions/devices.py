"""Lets machines in and puts them out. The registrar's; every step is noted."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F, Q
from django.utils.crypto import salted_hmac

from ..models import Device, DeviceNote, DeviceScope, EnrolmentCode, Person
from ..rules.devices import (
    CODE_LASTS,
    SEEN_EVERY,
    WRONG_CODES,
    code_as_typed,
    new_code,
    new_token,
    token_hash,
)


class NotEnrolled(Exception):
    """No device was let in; the message says why, and not which codes there are."""


class DeviceRefused(Exception):
    """What was asked of a device cannot be; the message says what to do. Nothing was changed."""


@dataclass(frozen=True, slots=True)
class Enrolled:
    """A device with its token, which is shown once and kept nowhere here."""

    device: Device
    token: str


@transaction.atomic
def make_device(*, name: str, scope: DeviceScope, by: Person, now: datetime) -> Device:
    """Enters a device that has no token yet. Raises :class:`DeviceRefused`."""
    name = " ".join(name.split())
    if not name:
        raise DeviceRefused("A device needs a name, such as Blue.")
    if Device.objects.filter(name__iexact=name).exists():
        raise DeviceRefused(f"There is a device {name} already: enrol that one again, or take another name.")
    device = Device.objects.create(name=name, scope=scope, made_at=now, made_by=by)
    _note(device, "made", by=by, now=now)
    return device


@transaction.atomic
def offer_code(device: Device, *, by: Person, now: datetime) -> str:
    """A code that lets one machine in as ``device`` within a quarter of an hour; earlier ones end."""
    if device.scope != DeviceScope.TANKSIDE:
        raise DeviceRefused(f"{device.name} is for no people: it gets a token, not a code.")
    device.codes.filter(used_at=None, expires_at__gt=now).update(expires_at=now)
    code = new_code()
    EnrolmentCode.objects.create(
        device=device, code_hash=_code_hash(code), made_at=now, made_by=by, expires_at=now + CODE_LASTS
    )
    _note(device, "code offered", by=by, now=now)
    return code


def enrol(*, code: str, now: datetime) -> Enrolled:
    """Lets the machine in that gives this code. Raises :class:`NotEnrolled`.

    Works once. Twenty wrong codes end all that are open, so that nobody tries them through.
    """
    still_open = EnrolmentCode.objects.filter(used_at=None, expires_at__gt=now, failed__lt=WRONG_CODES)
    wanted = _code_hash(code_as_typed(code))
    with transaction.atomic():
        # Compare and set: of two machines with one code, one gets in.
        taken = still_open.filter(code_hash=wanted).update(used_at=now)
        if taken:
            device = Device.objects.get(codes__code_hash=wanted)
            return Enrolled(device, _let_in(device, by=None, now=now))
    still_open.update(failed=F("failed") + 1)
    raise NotEnrolled(
        "This code opens nothing: it was used, is older than a quarter of an hour, or was typed wrongly. "
        "Ask the registrar for a new one."
    )


@transaction.atomic
def give_token(device: Device, *, by: Person, now: datetime) -> Enrolled:
    """A new token for a sensor or a program; the old one ends. Raises :class:`DeviceRefused`."""
    if device.scope == DeviceScope.TANKSIDE:
        raise DeviceRefused(f"{device.name} is for people: it is enrolled with a code.")
    return Enrolled(device, _let_in(device, by=by, now=now))


@transaction.atomic
def revoke(device: Device, *, by: Person, now: datetime) -> None:
    """Puts a device out from its next request on. What it keeps unsent goes when it is enrolled again."""
    if Device.objects.filter(pk=device.pk, revoked_at=None).update(revoked_at=now, revoked_by=by):
        device.codes.filter(used_at=None, expires_at__gt=now).update(expires_at=now)
        _note(device, "revoked", by=by, now=now)


def seen(device: Device, *, now: datetime) -> None:
    """Notes that the device asked for something, to the minute. One write a minute at most."""
    if device.last_seen_at is None or now - device.last_seen_at >= SEEN_EVERY:
        before = Q(last_seen_at=None) | Q(last_seen_at__lt=now)
        Device.objects.filter(before, pk=device.pk).update(last_seen_at=now)


def _let_in(device: Device, *, by: Person | None, now: datetime) -> str:
    token = new_token()
    device.token_hash, device.enrolled_at = token_hash(token), now
    device.revoked_at = device.revoked_by = None
    device.save(update_fields=["token_hash", "enrolled_at", "revoked_at", "revoked_by"])
    _note(device, "enrolled", by=by, now=now)
    return token


def _code_hash(code: str) -> str:
    """Keyed with the site's secret: who reads the database alone cannot try codes against it."""
    return salted_hmac("people.enrolment", code, algorithm="sha256").hexdigest()


def _note(device: Device, what: str, *, by: Person | None, now: datetime) -> None:
    DeviceNote.objects.create(device=device, what=what, by=by, at=now)
