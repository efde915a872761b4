"""Sends alarms by the house's e-mail: after the commit, beside the requests, again when it failed."""

import logging
import threading
from collections.abc import Callable
from datetime import datetime, timedelta

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db import connection, transaction
from django.db.models import Q

from inventory.people.models import Person
from inventory.people.queries import the_house
from inventory.people.rules.roles import Role

from ..models import Alarm

log = logging.getLogger(__name__)

TOLD = (Role.CURATOR, Role.VETERINARIAN)
# Minutes until the next try; then the last of them again, for a day's worth of tries.
AGAIN_AFTER = (1, 5, 15, 60)
MOST_TRIES = 28
# Who has taken an alarm out to send it has it for so long.
HELD_FOR = timedelta(minutes=5)
AT_ONCE = 20

_postman = threading.Lock()


def send_soon() -> None:
    """Sends what is due once the transaction is written, in a thread of its own."""
    if settings.ALARM_POST_IN_BACKGROUND:
        transaction.on_commit(_start)


def _start() -> None:
    from inventory.doors.clock import now

    threading.Thread(target=_carry, args=(now,), name="alarm post", daemon=True).start()


def _carry(now: Callable[[], datetime]) -> None:
    """One postman in a process: a second one leaves, for the first looks again before it ends."""
    if not _postman.acquire(blocking=False):
        return
    try:
        while send_due(now=now()):
            pass
    except Exception:
        # What is not sent stays due; the command send_alarms or the next alarm tries again.
        log.exception("The post of alarms stopped.")
    finally:
        _postman.release()
        connection.close()


def send_due(*, now: datetime) -> int:
    """Tries every alarm that is due, once; answers how many were due.

    An alarm is taken out first (compare and set), so that two who send at once send it once. When
    mail fails it is tried again later; when nobody has an address, or no mail is set up, that is
    what is noted with it.
    """
    due = list(
        Alarm.objects.select_related("place")
        .filter(next_try_at__lte=now, mailed_at=None)
        .order_by("next_try_at", "id")[:AT_ONCE]
    )
    for alarm in due:
        mine = Alarm.objects.filter(pk=alarm.pk, next_try_at=alarm.next_try_at, mailed_at=None).update(
            next_try_at=now + HELD_FOR, tries=alarm.tries + 1
        )
        if mine:
            alarm.tries += 1
            _send(alarm, now)
    return len(due)


def waiting() -> int:
    """Alarms that failed and are to be tried again."""
    return Alarm.objects.filter(mailed_at=None, next_try_at__isnull=False).count()


def _send(alarm: Alarm, now: datetime) -> None:
    to = addresses()
    if not settings.EMAIL_HOST:
        _done(alarm, trouble="no e-mail is set up for this house")
    elif not to:
        _done(alarm, trouble="neither curator nor veterinarian has an e-mail address")
    else:
        try:
            _message(alarm, to).send()
        except Exception as error:
            log.warning("Alarm %s was not sent: %s", alarm.pk, type(error).__name__)
            _later(alarm, now, type(error).__name__)
        else:
            Alarm.objects.filter(pk=alarm.pk).update(mailed_at=now, next_try_at=None, mail_trouble="")


def addresses() -> list[str]:
    """E-mail addresses of those who are told and are still with the house."""
    people = Person.objects.filter(
        Q(left_on=None), user__groups__name__in=[role.value for role in TOLD]
    ).exclude(user__email="")
    return sorted(set(people.values_list("user__email", flat=True)))


def _message(alarm: Alarm, to: list[str]) -> EmailMessage:
    house = the_house()
    name = house.name if house else "Tidetally"
    happened = alarm.event.happened
    text = (
        f"{alarm.words}.\n\nHappened {happened}, entered by {alarm.event.entered_by.name}"
        f"{f' on {alarm.event.device}' if alarm.event.device else ''}.\n\n"
        "It stays on your page Today until somebody has said that they have seen it.\n"
    )
    return EmailMessage(
        subject=f"{name}: {alarm.words}", body=text, to=to, connection=get_connection(fail_silently=False)
    )


def _later(alarm: Alarm, now: datetime, trouble: str) -> None:
    wait = AGAIN_AFTER[min(alarm.tries, len(AGAIN_AFTER)) - 1]
    next_try = now + timedelta(minutes=wait) if alarm.tries < MOST_TRIES else None
    Alarm.objects.filter(pk=alarm.pk).update(next_try_at=next_try, mail_trouble=trouble)


def _done(alarm: Alarm, *, trouble: str) -> None:
    Alarm.objects.filter(pk=alarm.pk).update(next_try_at=None, mail_trouble=trouble)
