"""Writers of what was told, and of private calendar addresses."""

import secrets
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from django.db import transaction

from inventory.book.models import Document
from inventory.book.rules.drafts import Problem
from inventory.people.models import Person

from ..models import CalendarAddress, NoticeSending
from ..queries.calendars import hash_of
from ..queries.notices import Notice
from ..rules.notices import Told


class NoticeRefused(Exception):
    """A notice that cannot be recorded so; ``problems`` say what to change."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("; ".join(problem.message for problem in problems))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class SendingFacts:
    """What is said of a notice: sent as ``text``, or not needed for the reason in ``note``."""

    told: Told
    n: int
    sent_on: date
    how: str = ""
    to: str = ""
    text: str = ""
    note: str = ""
    document: Document | None = None


@transaction.atomic
def record_notice(
    *, notice: Notice, facts: SendingFacts, by: Person, now: datetime, zone: tzinfo
) -> NoticeSending:
    """Keeps that a notice was sent, or why none is needed. It stays. Raises :class:`NoticeRefused`."""
    problems = list(_wrong(notice, facts, today=now.astimezone(zone).date()))
    if problems:
        raise NoticeRefused(problems)
    return NoticeSending.objects.create(
        permit=notice.permit,
        event=notice.event,
        lot=notice.lot,
        found_on=notice.found_on,
        n=facts.n,
        told=facts.told.value,
        sent_on=facts.sent_on,
        how=facts.how,
        to=facts.to,
        text=facts.text if facts.told is Told.SENT else "",
        document=facts.document,
        note=facts.note,
        entered_at=now,
        entered_by=by,
    )


def _wrong(notice: Notice, facts: SendingFacts, *, today: date) -> list[Problem]:
    found = []
    if facts.sent_on > today:
        found.append(("sent_on", f"{facts.sent_on} lies in the future"))
    if facts.sent_on < notice.found_on:
        found.append(("sent_on", f"it was found on {notice.found_on}, after {facts.sent_on}"))
    if not 1 <= facts.n <= notice.left:
        left = f"{notice.left} are left to tell" if notice.left else "all of it was told already"
        found.append(("n", f"{facts.n} does not fit: {left}"))
    if facts.told is Told.SENT:
        found += [(name, "say it: it was sent") for name in ("to", "text") if not getattr(facts, name)]
    elif not facts.note:
        found.append(("note", "say why no notice is needed"))
    return [Problem(0, "", column, message) for column, message in found]


@transaction.atomic
def make_calendar_address(*, person: Person, now: datetime) -> str:
    """A new token for the person's calendar; the one before ends. Told once: only its hash is kept."""
    revoke_calendar_address(person=person, now=now)
    token = secrets.token_urlsafe(32)
    CalendarAddress.objects.create(person=person, token_hash=hash_of(token), made_at=now)
    return token


def revoke_calendar_address(*, person: Person, now: datetime) -> bool:
    """Ends the person's address; false when there was none."""
    return bool(CalendarAddress.objects.filter(person=person, revoked_at=None).update(revoked_at=now))
