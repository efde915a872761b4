"""Tells people of one role what they have to hear of."""

from collections.abc import Iterable
from datetime import datetime, tzinfo

from django.db import transaction

from inventory.book.actions.flags import settle_late
from inventory.book.models import PeriodVersion
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import Line, Notice
from ..queries.late import late_periods
from ..queries.searching import answered
from ..queries.settings import settings_in_use
from ..rules.words import NoticeKind
from .allowed import require


def tell(
    role: Role, kind: NoticeKind, words: str, *, by: Person, now: datetime, line: Line | None = None
) -> Notice:
    """Puts ``words`` before those who have ``role``; the same words are told once until they are seen."""
    notice, _ = Notice.objects.get_or_create(
        role=role.value,
        kind=kind.value,
        words=words[:300],
        seen_at=None,
        defaults={
            "line": line,
            "census": line.sheet.census if line else None,
            "raised_at": now,
            "raised_by": by,
        },
    )
    return notice


def end_searches(lines: Iterable[Line], *, by: Person, now: datetime, zone: tzinfo) -> None:
    """What the curator was asked about an animal is answered when its line says what became of it."""
    asked = list(Notice.objects.filter(kind=NoticeKind.NOT_SEEN.value, seen_at=None, line__in=list(lines)))
    over = answered(asked, now=now, zone=zone)
    Notice.objects.filter(pk__in=over).update(seen_at=now, seen_by=by)


@transaction.atomic
def see(*, notice: Notice, by: Person, now: datetime) -> Notice:
    """Somebody of the role says that they have seen it."""
    require(by, [Role(notice.role)], "say that this was seen")
    held = Notice.objects.select_for_update().get(pk=notice.pk)
    if held.seen_at is None:
        held.seen_at, held.seen_by = now, by
        held.save(update_fields=["seen_at", "seen_by"])
    return held


def tie_restatement(version: PeriodVersion, *, by: Person, now: datetime, zone: tzinfo) -> None:
    """Ties a new version to what was approved, and tells the permit officer that figures changed.

    What came late and has joined it is late no more, and nobody is asked to look into it again.
    """
    approved = version.period.restatements.filter(
        approved_at__isnull=False, refused=False, new_version=None
    ).last()
    if approved is not None:
        approved.new_version = version
        approved.save(update_fields=["new_version"])
    if version.number > 1:
        late = late_periods(settings=settings_in_use(), zone=zone)
        settle_late(
            before=version.boundary,
            still_late={event.pk for one in late for event in one.events},
            by=by,
            now=now,
        )
        tell(
            Role.PERMIT_OFFICER,
            NoticeKind.RESTATED,
            f"{version.period} is restated in version {version.number}: "
            "look whether a return that was sent is touched.",
            by=by,
            now=now,
        )
