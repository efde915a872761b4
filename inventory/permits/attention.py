"""What permits and loans ask people to look at: see :mod:`inventory.people.attention`."""

from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from inventory.book import blind
from inventory.book.rules.days import day_in_words
from inventory.people.attention import Attention, Line
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .queries.loans import LoanRead, read_loans
from .queries.notices import notices
from .queries.pages import open_cases
from .queries.reminders import reminders
from .queries.return_changes import newest_returns, to_look_at
from .queries.review import links_to_review
from .queries.takes import kept_not_stocked
from .rules.reminders import About

_KEEPS = frozenset({Role.PERMIT_OFFICER, Role.REGISTRAR})
_OFFICER = frozenset({Role.PERMIT_OFFICER})
_SHOWN = 10
_OF_PERMITS = (About.EXPIRY, About.RETURN, About.STATEMENT)


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Notices and other days that are near, returns to look at again, cases, what a slip kept and nobody
    put into a tank, loans that are late, links of permit lines to review. A constant number of queries.
    """
    found = [*_due(person, now), _changed(), _cases(), _kept_ones(), _loans(now), _links()]
    return [item for item in found if item.total]


def _due(person: Person, now: datetime) -> list[Attention]:
    """Notices to send; expiry, returns and statements. Loans have a heading of their own."""
    on, zone = timezone.localdate(now), timezone.get_current_timezone()
    told = [one for one in notices(on=on, zone=zone, hidden=blind.hidden_from(person)) if one.left]
    near = [one for one in reminders(on=on, zone=zone, found=[]) if one.about in _OF_PERMITS]
    return [
        Attention(
            heading="Deaths and absences to tell an authority",
            total=len(told),
            url=reverse("reminders"),
            roles=_OFFICER,
            lines=tuple(
                Line(
                    f"{one.permit.number}: {'' if one.hidden else f'{one.left} '}"
                    f"{one.lot.taxon.scientific_name} {one.kind_words}, by {one.due_on} ({one.when})",
                    reverse("notice", args=[one.key]),
                )
                for one in told[:_SHOWN]
            ),
        ),
        Attention(
            heading="Permits that end, returns and statements of stock that are due",
            total=len(near),
            url=reverse("reminders"),
            roles=_OFFICER,
            lines=tuple(Line(one.words, one.path) for one in near[:_SHOWN]),
        ),
    ]


def _changed() -> Attention:
    """Returns for which something was entered since they were frozen."""
    returns = newest_returns()
    touched = to_look_at(returns, zone=timezone.get_current_timezone())
    changed = [one for one in returns if one.pk in touched]
    return Attention(
        heading="Returns to look at: something was entered since",
        total=len(changed),
        url=reverse("returns"),
        roles=_OFFICER,
        lines=tuple(
            Line(
                f"{one.permit.number}, return {one.serial} version {one.version}",
                reverse("return", args=[one.pk]),
            )
            for one in changed[:_SHOWN]
        ),
    )


def _cases() -> Attention:
    cases = list(open_cases())
    return Attention(
        heading="Permits: cases to settle",
        total=len(cases),
        url=reverse("cases"),
        roles=frozenset({Role.PERMIT_OFFICER}),
        lines=tuple(
            Line(
                f"{case.permit.number}, {case.get_kind_display()}, {case.trip.ends_on}",
                reverse("case", args=[case.pk]),
                case.owner.name,
            )
            for case in cases[:_SHOWN]
        ),
    )


def _kept_ones() -> Attention:
    found = kept_not_stocked()
    return Attention(
        heading="Kept on a trip, not yet in the stock: say which tank",
        total=len(found),
        url=reverse("permits"),
        roles=_KEEPS,
        lines=tuple(
            Line(
                f"{take.verbatim_identification}, trip of {take.trip.happened}, {take.permit.number}",
                reverse("take_correct", args=[take.pk]),
                take.entered_by.name,
            )
            for take in found[:_SHOWN]
        ),
    )


def _loans(now: datetime) -> Attention:
    zone = timezone.get_current_timezone()
    reads = read_loans(on=timezone.localdate(now), zone=zone)
    late = [read for read in reads if read.overdue or read.unconfirmed or read.left_over]
    return Attention(
        heading="Loans overdue, not confirmed, or ended with animals not yet back",
        total=len(late),
        url=reverse("loans"),
        roles=_KEEPS,
        lines=tuple(Line(_said(read), reverse("loan", args=[read.loan.pk])) for read in late[:_SHOWN]),
    )


def _said(read: LoanRead) -> str:
    parts = []
    if read.overdue and read.until:
        parts.append(f"overdue since {day_in_words(read.until)}")
    if read.left_over and read.loan.ended_on:
        parts.append(
            f"ended on {day_in_words(read.loan.ended_on)}, yet by the book animals are with the borrower"
        )
    if read.unconfirmed and read.confirm_by:
        parts.append(f"a letter was due on {day_in_words(read.confirm_by)}")
    return f"{read.loan.reference}, {read.loan.party}: {', '.join(parts)}"


def _links() -> Attention:
    found = links_to_review()
    return Attention(
        heading="Permit lines whose names are to be looked at",
        total=len(found),
        url=reverse("permits"),
        roles=_KEEPS,
        lines=tuple(
            Line(
                f"{one.permit.number}, “{one.words}”: {one.linked}{f', now {one.now}' if one.now else ''}",
                reverse("permit_link", args=[one.permit.pk, one.line_number]),
            )
            for one in found[:_SHOWN]
        ),
    )
