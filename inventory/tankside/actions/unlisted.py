"""Keeps what the registrar says an animal on no list is, and that the permit officer has seen it."""

from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from inventory.book.rules.found_as import FoundAs
from inventory.people.models import Person
from inventory.people.queries.signed_in import roles_of
from inventory.people.rules.roles import Role, not_allowed

from ..models import Entry, FindingPost, FindingSeen, UnlistedFinding
from ..queries.unlisted import taxon_called, written_in
from ..rules.unlisted import Before, concerns_permit_officer
from ..who import SEES_INTRODUCED, SETTLES_UNLISTED
from .post import send_soon


class FindingRefused(Exception):
    """Nothing was kept; the words say why, and what to do."""


@dataclass(frozen=True, slots=True)
class Said:
    """The answer: what it is, its name (of the house, or any other), and how that is known."""

    found_as: FoundAs
    name: str
    note: str


@transaction.atomic
def say_what_it_was(
    *, entry: Entry, said: Said, instead_of: int | None, by: Person, now: datetime
) -> UnlistedFinding:
    """Keeps the answer; the book does not change. Raises :class:`FindingRefused`.

    What concerns the permit officer goes out by e-mail too, after the commit: nothing waits for it.

    ``instead_of``: the answer that was read, and that this one stands for from now on; None: there was none.
    """
    _allowed(by, SETTLES_UNLISTED, "say what an animal on no list is")
    if not written_in().filter(pk=entry.pk).exists():
        raise FindingRefused("This entry tells of no animal on no list.")
    last = entry.findings.filter(replaced_by=None).select_related("seen").first()
    if (last.pk if last else None) != instead_of:
        raise FindingRefused(_faster(last))
    if last is None and Entry.objects.filter(undoes=entry.pk).exists():
        raise FindingRefused("Whoever wrote it has taken it back; there is nothing to say of it.")
    name, note = (" ".join(text.split()) for text in (said.name, said.note))
    if not name or not note:
        raise FindingRefused("Give a name and a sentence; a name that the house does not have will do.")
    try:
        with transaction.atomic():
            finding = UnlistedFinding.objects.create(
                entry=entry,
                found_as=said.found_as.value,
                name=name[:200],
                taxon=taxon_called(name),
                note=note[:300],
                for_permit_officer=concerns_permit_officer(said.found_as, _before(last)),
                replaces=last,
                found_by=by,
                found_at=now,
            )
            if finding.for_permit_officer:
                FindingPost.objects.create(finding=finding, next_try_at=now)
                send_soon()
            return finding
    except IntegrityError:
        raise FindingRefused(_faster(entry.findings.filter(replaced_by=None).first())) from None


def see_finding(finding: UnlistedFinding, *, by: Person, now: datetime) -> bool:
    """Notes that the permit officer has seen it. False when somebody was faster: the first name stays."""
    _allowed(by, SEES_INTRODUCED, "say that this was seen")
    try:
        with transaction.atomic():
            FindingSeen.objects.create(finding=finding, by=by, at=now)
    except IntegrityError:
        return False
    return True


def _before(last: UnlistedFinding | None) -> Before | None:
    if last is None:
        return None
    return Before(last.what, last.for_permit_officer, hasattr(last, "seen"))


def _faster(last: UnlistedFinding | None) -> str:
    said = f"{last.found_by.name} said: {last}. " if last else ""
    return f"Something else was said meanwhile. {said}Read it, and say it anew if it is wrong."


def _allowed(by: Person, needed: tuple[Role, ...], what: str) -> None:
    roles = roles_of(by.user) if by.user else frozenset()
    if why := not_allowed(by.name, roles, needed, what):
        raise FindingRefused(f"{why}.")
