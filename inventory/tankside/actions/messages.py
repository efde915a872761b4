"""What goes out by the house's e-mail: an alarm of deaths, and word of an introduced species."""

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from inventory.people.rules.roles import Role

from ..models import Alarm, FindingPost, UnlistedFinding
from ..rules.unlisted import CAUTION
from ..who import SEES_ALARMS, SEES_INTRODUCED


@dataclass(frozen=True, slots=True)
class Message:
    """Whom it is for by role, what is noted where none of them has an address, and its words."""

    told: tuple[Role, ...]
    nobody: str
    subject: str
    text: str


def about_alarm(alarm: Alarm) -> Message:
    """For curator and veterinarian."""
    event = alarm.event
    return Message(
        told=SEES_ALARMS,
        nobody="neither curator nor veterinarian has an e-mail address",
        subject=alarm.words,
        text=f"{alarm.words}.\n\nHappened {event.happened}, entered by {event.entered_by.name}"
        f"{f' on {event.device}' if event.device else ''}.\n\n"
        "It stays on your page Today until somebody has said that they have seen it.\n",
    )


def about_finding(post: FindingPost) -> Message:
    """For the permit officer: what it was found to be, and what was said before it; no numbers."""
    finding = post.finding
    entry, before = finding.entry, finding.replaces
    where = f" in {entry.place}" if entry.place else ""
    said = f"{finding}{where}"
    written = f"Written in at the tank{f' by {entry.person.name}' if entry.person else ''}"
    parts = [
        f"{said}.",
        f"{finding.note}",
        f"{_said_by(finding)}. {written}, saved {_moment(entry.saved_at or entry.received_at)}."
        + (" Whoever wrote it has taken it back since." if hasattr(entry, "undone_by") else ""),
        f"Before it was said: {before} ({_said_by(before)})." if before else "",
        CAUTION,
        "It stays on your page Today until the permit officer has said that it was seen.",
    ]
    return Message(
        told=SEES_INTRODUCED,
        nobody="no permit officer has an e-mail address",
        subject=said,
        text="\n\n".join(part for part in parts if part) + "\n",
    )


def _said_by(finding: UnlistedFinding) -> str:
    return f"Said by {finding.found_by.name}, {_moment(finding.found_at)}"


def _moment(at: datetime) -> str:
    return f"{timezone.localtime(at):%Y-%m-%d %H:%M}"
