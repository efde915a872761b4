"""Enters permits, amends and renews them, attaches papers, and says what lines mean."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Max

from inventory.book.models import Document
from inventory.book.models.cells import Sex
from inventory.names.models import Taxon
from inventory.names.queries.verdicts import known_usage
from inventory.people.models import Person

from ..models import (
    Authority,
    LineLink,
    LinkMember,
    Per,
    Permit,
    PermitDocument,
    PermitLine,
    PermitPerson,
    PermitVersion,
    Scope,
    VersionKind,
    Waters,
)
from ..rules.due import DueKind
from ..rules.scopes import RANKS

# How often a permit asks for a statement of what is held; blank: never.
_STATEMENTS = ("", "quarter", "year")


class PermitRefused(Exception):
    """What was written cannot be a permit; ``column`` says where, the message what to do.

    ``line`` is the index of the schedule's line that it is about; none: of the head.
    """

    def __init__(self, column: str, message: str, *, line: int | None = None) -> None:
        super().__init__(message)
        self.column = column
        self.line = line


@dataclass(frozen=True, slots=True)
class LinkFacts:
    """What a line means: names of any rank, "name" or "rank name"."""

    scope: str
    names: Sequence[str]
    why: str = ""


@dataclass(frozen=True, slots=True)
class LineFacts:
    """One line as the permit has it. ``number`` 0: the next free one; a line keeps its number for good."""

    words: str
    limit: int | None
    per: str = Per.PERMIT
    unit: str = "animal"
    sex: str = ""
    condition: str = ""
    smallest_mm: int | None = None
    largest_mm: int | None = None
    let_go_alive_counts: bool | None = None
    number: int = 0
    link: LinkFacts | None = None


@dataclass(frozen=True, slots=True)
class VersionFacts:
    """All that a version says, whole. See :class:`inventory.permits.models.PermitVersion`."""

    valid_from: date
    valid_until: date
    lines: Sequence[LineFacts]
    people: Sequence[str] = ()
    area_words: str = ""
    area: Sequence[tuple[float, float]] = ()
    waters: str = Waters.SEA.value
    gear: Sequence[str] = ()
    seasons: Sequence[tuple[str, str]] = ()
    conditions: str = ""
    let_go_alive_counts: bool = False
    notice_days: int | None = None
    missing_is_notice: bool = False
    stock_statement: str = ""
    return_due_on: date | None = None
    why: str = ""


@transaction.atomic
def enter_permit(
    *,
    number: str,
    authority: str,
    holder: str,
    facts: VersionFacts,
    by: Person,
    now: datetime,
    kind: str = "collecting",
    short: str = "",
    authority_name: str = "",
    return_days: int | None = None,
    asks_again: bool = False,
) -> Permit:
    """Enters a permit as it was issued. Raises :class:`PermitRefused`.

    The authority's name and rule are taken when it is new. ``asks_again``: what is stated of one that is here
    and says something else is refused instead of being left out.
    """
    if Permit.objects.filter(number=number).exists():
        raise PermitRefused("number", f"the permit {number} is here already; amend or renew it there")
    issued_by, new = Authority.objects.get_or_create(
        code=authority, defaults={"name": authority_name or authority, "return_days": return_days}
    )
    if asks_again and not new:
        _same_authority(issued_by, authority_name, return_days)
    permit = Permit.objects.create(number=number, authority=issued_by, holder=holder, kind=kind, short=short)
    _add_version(permit, facts, kind=VersionKind.FIRST, amended_on=facts.valid_from, by=by, now=now)
    return permit


def _same_authority(found: Authority, name: str, return_days: int | None) -> None:
    where = f"{found.code} is here already; leave this empty, or change it on the page of {found.code}"
    if name and name != found.name:
        raise PermitRefused("authority_name", f"it is called {found.name!r}: {where}")
    newest = found.return_rules.order_by("-pk").first()
    days = found.return_days
    if newest is not None:
        days = newest.days if newest.kind == DueKind.AFTER_EXPIRY else None
    if return_days is not None and return_days != days:
        rule = "has no such rule" if days is None else f"says {days} days"
        raise PermitRefused("return_days", f"it {rule}: {where}")


@transaction.atomic
def amend_permit(
    *,
    permit: Permit,
    facts: VersionFacts,
    kind: VersionKind,
    amended_on: date,
    by: Person,
    now: datetime,
) -> PermitVersion:
    """Adds a version, an amendment or a renewal; those before it stay. Raises :class:`PermitRefused`."""
    Permit.objects.select_for_update().get(pk=permit.pk)
    last = permit.versions.order_by("number").last()
    if last is not None and amended_on < last.amended_on:
        raise PermitRefused(
            "amended_on", f"version {last.number} holds from {last.amended_on} on; a later one comes after it"
        )
    if kind == VersionKind.RENEWAL and last is not None and facts.valid_from <= last.valid_from:
        raise PermitRefused("valid_from", f"a renewal begins after {last.valid_from}; amend it otherwise")
    return _add_version(permit, facts, kind=kind, amended_on=amended_on, by=by, now=now)


@transaction.atomic
def link_line(*, permit: Permit, line_number: int, link: LinkFacts, by: Person, now: datetime) -> LineLink:
    """Says what a line's words mean from now on; the words are not touched. Raises :class:`PermitRefused`."""
    if link.scope not in Scope.values:
        raise PermitRefused("covers", f"{link.scope!r} is none of {', '.join(Scope.values)}")
    names = [name.strip() for name in link.names if name.strip()]
    if not names:
        raise PermitRefused("names", "name at least one kind of animal, or a group of any rank")
    if link.scope == Scope.TAXON and len(names) > 1:
        raise PermitRefused("names", "one kind of animal has one name; several together are a group")
    made = LineLink.objects.create(
        permit=permit, line_number=line_number, scope=link.scope, linked_at=now, linked_by=by, why=link.why
    )
    LinkMember.objects.bulk_create([_member(made, name) for name in names])
    return made


@transaction.atomic
def attach_document(*, version: PermitVersion, document: Document, by: Person, now: datetime) -> None:
    """Puts a paper with a version; the same paper twice stands once."""
    PermitDocument.objects.get_or_create(
        version=version, document=document, defaults={"attached_at": now, "attached_by": by}
    )


def _add_version(
    permit: Permit, facts: VersionFacts, *, kind: VersionKind, amended_on: date, by: Person, now: datetime
) -> PermitVersion:
    _check(facts)
    last = permit.versions.aggregate(last=Max("number"))["last"] or 0
    version = PermitVersion.objects.create(
        permit=permit,
        number=last + 1,
        kind=kind,
        amended_on=amended_on,
        valid_from=facts.valid_from,
        valid_until=facts.valid_until,
        area_words=facts.area_words,
        area=[list(corner) for corner in facts.area],
        waters=facts.waters,
        gear=list(facts.gear),
        seasons=[list(season) for season in facts.seasons],
        conditions=facts.conditions,
        let_go_alive_counts=facts.let_go_alive_counts,
        notice_days=facts.notice_days,
        missing_is_notice=facts.missing_is_notice,
        stock_statement=facts.stock_statement,
        return_due_on=facts.return_due_on,
        entered_at=now,
        entered_by=by,
        why=facts.why,
    )
    _add_people(version, facts.people)
    _add_lines(version, facts.lines, by=by, now=now)
    return version


def _check(facts: VersionFacts) -> None:
    if facts.valid_until < facts.valid_from:
        raise PermitRefused("valid_until", f"it ends on {facts.valid_until}, before it begins")
    if facts.area and len(facts.area) < 3:
        raise PermitRefused("area", "an area has at least three corners")
    if facts.waters not in Waters.values:
        raise PermitRefused("waters", f"{facts.waters!r} is none of {', '.join(Waters.values)}")
    if facts.stock_statement not in _STATEMENTS:
        raise PermitRefused(
            "stock_statement", f"{facts.stock_statement!r} is none of {', '.join(_STATEMENTS[1:])}"
        )
    for place, line in enumerate(facts.lines):
        if not line.words.strip():
            raise PermitRefused("words", "a line has the permit's own words", line=place)
        if line.per not in Per.values:
            raise PermitRefused("per", f"{line.per!r} is none of {', '.join(Per.values)}", line=place)
        if line.sex and line.sex not in Sex.values:
            raise PermitRefused("sex", f"{line.sex!r} is none of {', '.join(Sex.values)}", line=place)


def _add_people(version: PermitVersion, names: Sequence[str]) -> None:
    people = {person.name: person for person in Person.objects.filter(name__in=names)}
    unknown = [name for name in names if name not in people]
    if unknown:
        raise PermitRefused("people", f"nobody here is called {', '.join(unknown)}")
    PermitPerson.objects.bulk_create(
        [PermitPerson(version=version, person=people[name]) for name in dict.fromkeys(names)]
    )


def _add_lines(version: PermitVersion, lines: Sequence[LineFacts], *, by: Person, now: datetime) -> None:
    permit = version.permit
    highest = PermitLine.objects.filter(version__permit=permit).aggregate(n=Max("number"))["n"] or 0
    numbers = []
    for line in lines:
        if not line.number:
            highest += 1
        numbers.append(line.number or highest)
    twice = [number for number in set(numbers) if numbers.count(number) > 1]
    if twice:
        last = len(numbers) - 1 - numbers[::-1].index(twice[0])
        message = f"line {twice[0]} stands twice; each line has a number of its own"
        raise PermitRefused("line", message, line=last)
    PermitLine.objects.bulk_create(
        [
            PermitLine(
                version=version,
                number=number,
                position=position,
                words=line.words.strip(),
                limit=line.limit,
                per=line.per,
                unit=line.unit or "animal",
                sex=line.sex,
                condition=line.condition,
                smallest_mm=line.smallest_mm,
                largest_mm=line.largest_mm,
                let_go_alive_counts=line.let_go_alive_counts,
            )
            for position, (number, line) in enumerate(zip(numbers, lines, strict=True), start=1)
        ]
    )
    for place, (number, line) in enumerate(zip(numbers, lines, strict=True)):
        if line.link is None:
            continue
        try:
            link_line(permit=permit, line_number=number, link=line.link, by=by, now=now)
        except PermitRefused as refused:
            raise PermitRefused(refused.column, str(refused), line=place) from refused


def _member(link: LineLink, written: str) -> LinkMember:
    """A name of the link: a kind that the house knows, else a name of the rank that was written."""
    first, _, rest = written.partition(" ")
    rank = first if first in RANKS and rest else ""
    name = rest.strip() if rank else written
    taxon = None if rank else Taxon.objects.filter(scientific_name=name, joined_into=None).first()
    if taxon is None and not rank:
        usage = known_usage(name)
        rank = usage.rank.lower() if usage else ""
    if taxon is not None:
        # A genus or a family that the house once typed as an animal's name covers all that is in it.
        rank = taxon.rank or RANKS[0]
        if rank in RANKS[1:]:
            taxon = None
    return LinkMember(link=link, taxon=taxon, name=name, rank=rank if rank in RANKS else "")
