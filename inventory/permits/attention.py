"""What permits and loans ask people to look at: see :mod:`inventory.people.attention`."""

from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from inventory.people.attention import Attention, Line
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .queries.loans import LoanRead, read_loans
from .queries.pages import open_cases
from .queries.review import links_to_review
from .queries.takes import kept_not_stocked

_KEEPS = frozenset({Role.PERMIT_OFFICER, Role.REGISTRAR})
_SHOWN = 10


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Cases, what a slip kept and nobody put into a tank, loans that are late, links of permit lines to review. A constant number of queries."""
    return [item for item in (_cases(), _kept_ones(), _loans(now), _links()) if item.total]


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
    late = [read for read in reads if read.overdue or read.unconfirmed]
    return Attention(
        heading="Loans overdue or not confirmed",
        total=len(late),
        url=reverse("loans"),
        roles=_KEEPS,
        lines=tuple(Line(_said(read), reverse("loan", args=[read.loan.pk])) for read in late[:_SHOWN]),
    )


def _said(read: LoanRead) -> str:
    parts = []
    if read.overdue:
        parts.append(f"overdue since {read.until}")
    if read.unconfirmed:
        parts.append(f"a letter was due on {read.confirm_by}")
    return f"{read.loan.reference}, {read.loan.party}: {', '.join(parts)}"


def _links() -> Attention:
    found = links_to_review()
    return Attention(
        heading="Permit lines whose names have changed",
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
