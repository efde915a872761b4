"""The reminders of a day by e-mail: to each who keeps permits, once a day."""

import logging
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import IntegrityError, transaction
from django.db.models import Q

from inventory.people.models import Person
from inventory.people.queries import the_house

from ..models import DigestSent
from ..queries.reminders import reminders
from ..rules.reminders import Reminder
from ..who import REMINDED

log = logging.getLogger(__name__)
_SMTP = "django.core.mail.backends.smtp.EmailBackend"


class NoMailSetUp(Exception):
    """No e-mail is set up for this house."""


@dataclass(slots=True)
class Digest:
    """What became of one day's post, by name. ``nothing``: there was nothing to say."""

    sent: list[str] = field(default_factory=list)
    already: list[str] = field(default_factory=list)
    no_address: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    items: int = 0


def send_digest(*, on: date, now: datetime, zone: tzinfo) -> Digest:
    """Sends the day's reminders to everybody who keeps permits and has an address; a second call sends
    only what did not go out. A day without reminders sends nothing. Raises :class:`NoMailSetUp`."""
    found = reminders(on=on, zone=zone)
    digest = Digest(items=len(found))
    if not found:
        return digest
    if settings.EMAIL_BACKEND == _SMTP and not settings.EMAIL_HOST:
        raise NoMailSetUp("No e-mail is set up: set TIDETALLY_EMAIL_HOST, as the README says.")
    for person in _reminded(on):
        assert person.user is not None
        if not person.user.email:
            digest.no_address.append(person.name)
        elif DigestSent.objects.filter(person=person, day=on).exists():
            digest.already.append(person.name)
        else:
            _send(person, found, digest, on=on, now=now)
    return digest


def _reminded(on: date) -> list[Person]:
    here = Person.objects.select_related("user").filter(Q(left_on=None) | Q(left_on__gt=on))
    roles = [role.value for role in REMINDED]
    return list(here.filter(user__is_active=True, user__groups__name__in=roles).distinct().order_by("name"))


def _send(person: Person, found: list[Reminder], digest: Digest, *, on: date, now: datetime) -> None:
    """Noted and sent together: when the post fails nothing is noted, and the next call tries again."""
    assert person.user is not None
    try:
        with transaction.atomic():
            DigestSent.objects.create(person=person, day=on, items=len(found), sent_at=now)
            EmailMessage(subject=_subject(found, on), body=text_of(found, on), to=[person.user.email]).send()
    except IntegrityError:
        digest.already.append(person.name)
    except Exception as error:
        log.warning("The digest of %s was not sent to %s: %s", on, person.name, type(error).__name__)
        digest.failed.append(f"{person.name} ({type(error).__name__})")
    else:
        digest.sent.append(person.name)


def _subject(found: list[Reminder], on: date) -> str:
    house = the_house()
    late = sum(one.late for one in found)
    return (
        f"{house.name if house else 'Tidetally'}: {len(found)} reminder{'' if len(found) == 1 else 's'}, "
        f"{late} late, {on}"
    )


def text_of(found: list[Reminder], on: date) -> str:
    """The letter: late first, then by day. No animal and no place is named, for mail is read by others."""
    parts = [f"Permits and loans on {on}.", ""]
    for heading, chosen in (
        ("Late", [one for one in found if one.late]),
        ("To come", [one for one in found if not one.late]),
    ):
        if chosen:
            parts += [heading, *(f"- {_line(one)}" for one in chosen), ""]
    parts.append(f"The whole list: {settings.ADDRESS}/permits/reminders")
    return "\n".join(parts) + "\n"


def _line(one: Reminder) -> str:
    detail = f", {one.detail}" if one.detail else ""
    return f"{one.words}{detail}\n  {settings.ADDRESS}{one.path}"
