"""Sends alarms, and word of introduced species, by the house's e-mail.

It goes out after the commit, beside the requests, and again when it failed. A room above that has something
to send brings a table of :class:`~inventory.tankside.models.Posted`, when Django is ready::

    post.carry(NoticePost, about_notice)
"""

import logging
import threading
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db import connection, transaction
from django.db.models import Q, QuerySet

from inventory.people.models import Person
from inventory.people.queries import the_house
from inventory.people.rules.roles import Role

from ..models import Alarm, FindingPost, Posted
from .messages import Message, about_alarm, about_finding

log = logging.getLogger(__name__)

Sent = Alarm | Posted
# Each is called with rows of its own table.
About = Callable[[Any], Message]
# What is sent, in this order, with what says its words.
_CARRIED: dict[type[Sent], About] = {Alarm: about_alarm, FindingPost: about_finding}
# Minutes until the next try; then the last of them again, for a day's worth of tries.
AGAIN_AFTER = (1, 5, 15, 60)
MOST_TRIES = 28
# Who has taken an alarm out to send it has it for so long.
HELD_FOR = timedelta(minutes=5)
AT_ONCE = 20

_postman = threading.Lock()


def carry(table: type[Posted], about: About) -> None:
    """Registers a table whose rows are sent too, with what makes the message of one."""
    _CARRIED[table] = about


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
    """Tries all that is due, once; answers how many were due.

    Each is taken out first (compare and set), so that two who send at once send it once. When mail
    fails it is tried again later; when nobody has an address, or no mail is set up, that is what is
    noted with it.
    """
    due = [posted for table in _CARRIED for posted in _due(_rows_of(table), now)]
    for posted in due:
        mine = (
            _rows(posted)
            .filter(next_try_at=posted.next_try_at, mailed_at=None)
            .update(next_try_at=now + HELD_FOR, tries=posted.tries + 1)
        )
        if mine:
            posted.tries += 1
            _send(posted, now)
    return len(due)


def waiting() -> int:
    """What failed and is to be tried again."""
    waits = {"mailed_at": None, "next_try_at__isnull": False}
    return sum(_rows_of(table).filter(**waits).count() for table in _CARRIED)


def _due(rows: QuerySet[Any], now: datetime) -> list[Sent]:
    return list(rows.filter(next_try_at__lte=now, mailed_at=None).order_by("next_try_at", "id")[:AT_ONCE])


def _rows_of(table: type[Sent]) -> QuerySet[Any]:
    return table._default_manager.all()


def _rows(posted: Sent) -> QuerySet[Any]:
    return _rows_of(type(posted)).filter(pk=posted.pk)


def _send(posted: Sent, now: datetime) -> None:
    if isinstance(posted, FindingPost) and hasattr(posted.finding, "replaced_by"):
        return _done(posted, trouble="said anew before it went out")
    message = _CARRIED[type(posted)](posted)
    to = addresses(message.told)
    if not settings.EMAIL_HOST:
        return _done(posted, trouble="no e-mail is set up for this house")
    if not to:
        return _done(posted, trouble=message.nobody)
    try:
        _mail(message, to).send()
    except Exception as error:
        log.warning("%s %s was not sent: %s", posted._meta.verbose_name, posted.pk, type(error).__name__)
        _later(posted, now, type(error).__name__)
    else:
        _rows(posted).update(mailed_at=now, next_try_at=None, mail_trouble="")


def addresses(told: Sequence[Role]) -> list[str]:
    """E-mail addresses of those who are told and are still with the house."""
    people = Person.objects.filter(
        Q(left_on=None), user__groups__name__in=[role.value for role in told]
    ).exclude(user__email="")
    return sorted(set(people.values_list("user__email", flat=True)))


def _mail(message: Message, to: list[str]) -> EmailMessage:
    house = the_house()
    return EmailMessage(
        subject=f"{house.name if house else 'Tidetally'}: {message.subject}",
        body=message.text,
        to=to,
        connection=get_connection(fail_silently=False),
    )


def _later(posted: Sent, now: datetime, trouble: str) -> None:
    wait = AGAIN_AFTER[min(posted.tries, len(AGAIN_AFTER)) - 1]
    next_try = now + timedelta(minutes=wait) if posted.tries < MOST_TRIES else None
    _rows(posted).update(next_try_at=next_try, mail_trouble=trouble)


def _done(posted: Sent, *, trouble: str) -> None:
    _rows(posted).update(next_try_at=None, mail_trouble=trouble)
