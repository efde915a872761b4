"""What somebody of a role has to hear at once goes out by the house's e-mail too."""

from datetime import datetime

from django.utils import timezone

from inventory.book.rules.found_as import FoundAs
from inventory.tankside.actions.messages import Message
from inventory.tankside.actions.post import send_soon
from inventory.tankside.rules.unlisted import CAUTION
from inventory.tankside.who import SEES_INTRODUCED

from ..models import Notice, NoticePost, WriteInFinding


def send_by_mail(notice: Notice, *, now: datetime) -> None:
    """Sends a notice after the commit; the same one goes out once, however often it is told."""
    _, made = NoticePost.objects.get_or_create(notice=notice, defaults={"next_try_at": now})
    if made:
        send_soon()


def about_notice(post: NoticePost) -> Message:
    """For the permit officer: what was written in where, and what was found out of it; no numbers."""
    notice = post.notice
    finding = _told_of(notice)
    name = finding.taxon.scientific_name if finding and finding.taxon else ""
    written = notice.line.written_name if notice.line else ""
    where = f" in {notice.line.place}" if notice.line else ""
    parts = [
        notice.words,
        finding.note if finding else "",
        f"Said by {notice.raised_by.name}, {timezone.localtime(notice.raised_at):%Y-%m-%d %H:%M}."
        + (f" Written in on a count sheet as {written}." if written else ""),
        CAUTION,
        "It stays on your page Today until the permit officer has said that it was seen.",
    ]
    return Message(
        told=SEES_INTRODUCED,
        nobody="no permit officer has an e-mail address",
        subject=f"{name or written}: introduced species{where}",
        text="\n\n".join(part for part in parts if part) + "\n",
    )


def _told_of(notice: Notice) -> WriteInFinding | None:
    """The finding that the notice was raised with: a later one may name another species."""
    if notice.line is None:
        return None
    told = notice.line.findings.filter(found_as=FoundAs.INTRODUCED.value, found_at__lte=notice.raised_at)
    return told.select_related("taxon").last()
