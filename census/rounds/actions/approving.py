"""Asks others for the names that a decision needs, and posts it when the last of them is given.

An approval here is an act of the person signed in; a name given by who enters is for papers signed by hand.
"""

from collections.abc import Mapping
from datetime import datetime, tzinfo

from django.db import transaction

from inventory.db.locks import serialize_writers
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import ApprovalAnswer, ApprovalAsked, Census, Decision, Line
from ..queries.approvers import has_role
from ..queries.find import NotFound, find_line
from ..queries.settings import settings_of
from ..queries.waiting import still_waiting
from ..readers.decisions import Asked
from ..rules.settling import Settling
from ..rules.stating import read_back
from ..rules.who import DECIDES
from ..rules.words import ApprovalRole
from .against import barred
from .allowed import require
from .asking import keep_asked, read_needed
from .decide import aimed, decide_line, read_lines
from .moving import running
from .refused import CensusRefused
from .written_in import find_write_in, found_as_kept


@transaction.atomic
def ask_approval(
    *,
    line: Line,
    settling: Settling,
    by: Person,
    now: datetime,
    zone: tzinfo,
    other_line: Line | None = None,
) -> ApprovalAsked | Decision:
    """Keeps what ``by`` states until those whose names it needs have answered; nothing is posted yet.

    What needs nobody's name is decided at once. Asking the same again while it waits changes nothing; a
    line has one statement waiting. Raises :class:`CensusRefused` with what stands against it.
    """
    require(by, DECIDES, "ask for an approval")
    serialize_writers()
    settling = aimed(settling, other_line)
    row, needed = read_needed(line, settling, by=by, now=now, zone=zone, other_line=other_line)
    if needed.registrar_alone:
        return decide_line(line=line, settling=settling, by=by, now=now, zone=zone, other_line=other_line)
    return keep_asked(line, row, settling, needed, by=by, now=now, other_line=other_line)


def ask_as_stated(
    *, census: Census, asked: Asked, by: Person, now: datetime, zone: tzinfo
) -> ApprovalAsked | Decision:
    """:func:`ask_approval` for one row of a form, which names its lines by their numbers."""
    try:
        line = find_line(census, asked.line)
        other = find_line(census, asked.to_line) if asked.to_line else None
    except NotFound as error:
        raise CensusRefused(str(error)) from error
    return ask_approval(line=line, settling=asked.settling, by=by, now=now, zone=zone, other_line=other)


@transaction.atomic
def approve_asked(
    *, asked: ApprovalAsked, by: Person, now: datetime, zone: tzinfo, why: str = ""
) -> ApprovalAnswer:
    """``by`` approves; with the last name that it needs the decision is made and posted.

    Nobody approves what they counted, typed or entered, and nobody gives two of the names. What the
    book or a count made impossible since is refused like any decision. Raises :class:`CensusRefused`.
    """
    serialize_writers()
    held = _waiting(asked)
    role = _role_of(held, by)
    census = running(held.line.sheet.census)
    row, _ = read_lines(census, [held.line], settings_of(census))[0]
    against = barred(row, by, held.asked_by)
    if against:
        raise CensusRefused(f"{held.line}: {against}")
    given = {answer.role: answer.by for answer in held.answers.select_related("by")}
    if by.pk in {person.pk for person in given.values()}:
        raise CensusRefused(f"{by.name} has given one of the names; the other is another person's.")
    given[role.value] = by
    decision = None
    if {one.value for one in _needed(held)} <= set(given):
        decision = _done(held, given, now=now, zone=zone)
    return ApprovalAnswer.objects.create(
        asked=held, role=role.value, approved=True, why=why.strip()[:300], by=by, at=now, decision=decision
    )


@transaction.atomic
def refuse_asked(*, asked: ApprovalAsked, by: Person, now: datetime, why: str) -> ApprovalAnswer:
    """One whose name is asked for refuses, and says why; or who asked takes it back. The line stays open."""
    held = _waiting(asked)
    role = ApprovalRole.REGISTRAR if by.pk == held.asked_by_id else _role_of(held, by)
    if not why.strip():
        raise CensusRefused("Say why.")
    return ApprovalAnswer.objects.create(
        asked=held, role=role.value, approved=False, why=why.strip()[:300], by=by, at=now
    )


def _done(held: ApprovalAsked, given: Mapping[str, Person], *, now: datetime, zone: tzinfo) -> Decision:
    """Posts what was asked, under the names that were given."""
    curator = given.get(ApprovalRole.CURATOR.value)
    officer = given.get(ApprovalRole.PERMIT_OFFICER.value)
    if "found" in held.stated:
        find_write_in(
            line=held.line,
            found=found_as_kept(held.stated["found"]),
            by=held.asked_by,
            now=now,
            zone=zone,
            approved_by=curator,
            countersigned_by=officer,
        )
        return Decision.objects.filter(line=held.line).latest("pk")
    return decide_line(
        line=held.line,
        settling=read_back(held.stated),
        by=held.asked_by,
        now=now,
        zone=zone,
        approved_by=curator,
        countersigned_by=officer,
        other_line=held.other_line,
    )


def _waiting(asked: ApprovalAsked) -> ApprovalAsked:
    related = ("line__sheet__census__period", "line__place", "line__taxon", "other_line__sheet", "asked_by")
    held = still_waiting().select_related(*related).filter(pk=asked.pk).first()
    if held is None:
        raise CensusRefused(f"{asked.line}: this was answered already, or its census was given up.")
    return held


def _needed(asked: ApprovalAsked) -> list[ApprovalRole]:
    wanted = ((asked.curator, ApprovalRole.CURATOR), (asked.permit_officer, ApprovalRole.PERMIT_OFFICER))
    return [role for needed, role in wanted if needed]


def _role_of(asked: ApprovalAsked, by: Person) -> ApprovalRole:
    """In which role ``by`` answers: the first that is still open and that they have."""
    answered = set(asked.answers.values_list("role", flat=True))
    for role in _needed(asked):
        if role.value not in answered and has_role(by, Role(role.value)):
            return role
    wanted = " or the ".join(
        role.value.replace("_", " ") for role in _needed(asked) if role.value not in answered
    )
    raise CensusRefused(f"{asked.line}: the {wanted} answers this; {by.name} has no such role.")
