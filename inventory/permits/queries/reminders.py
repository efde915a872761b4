"""What permits and loans ask for, with its day: expiry, returns, notices, loans. One list for all doors."""

from collections.abc import Collection, Iterable, Sequence
from datetime import date, tzinfo

from django.urls import reverse

from inventory.book.queries.settings import numbers_in_use

from ..models import Per, PermitReturn, ReturnSending
from ..rules.reminders import About, Reminder, step_of
from .loans import LoanRead, read_loans
from .notices import Notice, notices
from .reading import PermitRead, every_permit
from .returns import due_rules, dues_of
from .stock_statements import stock_statements

STEPS = ("permit_reminder_days_first", "permit_reminder_days_second", "permit_reminder_days_last")


def reminders(
    *, on: date, zone: tzinfo, hidden: Collection[int] = (), found: Sequence[Notice] | None = None
) -> list[Reminder]:
    """Everything whose first reminder has come, by its day. A constant number of queries.

    ``found`` are the notices, where they were read already. Notices carry no number and no name.
    """
    numbers = numbers_in_use()
    steps = [numbers[name] for name in STEPS]
    reads = list(every_permit(on=on).values())
    told = notices(on=on, zone=zone, hidden=hidden) if found is None else found
    all_of_it = [
        *_notices(told, on),
        *_returns(reads, on, steps),
        *_statements(reads, on),
        *_expiry(reads, on, steps),
        *_loans(read_loans(on=on, zone=zone), on, steps),
    ]
    order = list(About)
    return sorted(all_of_it, key=lambda one: (one.due_on, order.index(one.about), one.key))


def _notices(found: Iterable[Notice], on: date) -> Iterable[Reminder]:
    for notice in found:
        if notice.left:
            yield Reminder(
                about=About.NOTICE,
                subject=f"permit {notice.permit.number}",
                due_on=notice.due_on,
                on=on,
                path=reverse("notice", args=[notice.key]),
                key=f"notice-{notice.permit.pk}-{notice.lot.pk}-{notice.found_on}-{notice.kind}",
                detail=f"found {notice.found_on}",
            )


def _returns(reads: Sequence[PermitRead], on: date, steps: Collection[int]) -> Iterable[Reminder]:
    """Returns that were not sent: by the permit's own day, else by the authority's rule."""
    rules = due_rules()
    sent = set(
        PermitReturn.objects.filter(pk__in=ReturnSending.objects.values("of_return")).values_list(
            "permit_id", "starts_on"
        )
    )
    for read in reads:
        for due in dues_of(read, rules.get(read.permit.authority_id)):
            step = step_of((due.due_on - on).days, steps)
            if step is not None and (read.permit.pk, due.starts_on) not in sent:
                yield Reminder(
                    about=About.RETURN,
                    subject=f"permit {read.permit.number}",
                    due_on=due.due_on,
                    on=on,
                    path=reverse("permit", args=[read.permit.pk]),
                    key=f"return-{read.permit.pk}-{due.starts_on}",
                    detail=f"for {due.starts_on} to {due.ends_on}",
                    step=step,
                )


def _statements(reads: Sequence[PermitRead], on: date) -> Iterable[Reminder]:
    """The newest statement of stock that is not written down as sent, from the day it tells of."""
    for permit, found in stock_statements(reads, on=on).items():
        if not found.wanted:
            continue
        read = next(read for read in reads if read.permit.pk == permit)
        as_of, earlier = found.wanted[-1], len(found.wanted) - 1
        before = f"; {earlier} earlier not written down as sent either" if earlier else ""
        yield Reminder(
            about=About.STATEMENT,
            subject=f"permit {read.permit.number}",
            due_on=as_of,
            on=on,
            path=f"{reverse('permit', args=[permit])}?as_of={as_of}#use",
            key=f"statement-{permit}-{as_of}",
            detail=f"stock at the end of {as_of}{before}",
        )


def _expiry(reads: Sequence[PermitRead], on: date, steps: Collection[int]) -> Iterable[Reminder]:
    """Permits that end; one that allows holding stays after its end, others for the last but one step."""
    for read in reads:
        last_day = read.version.valid_until
        days = (last_day - on).days
        holds = any(line.per == Per.HELD for line in read.lines)
        step = step_of(days, steps)
        if step is not None and (holds or -days <= sorted(steps)[1]):
            yield Reminder(
                about=About.EXPIRY,
                subject=f"permit {read.permit.number}",
                due_on=last_day,
                on=on,
                path=reverse("permit", args=[read.permit.pk]),
                key=f"expiry-{read.permit.pk}-{last_day}",
                detail="last day on which it holds",
                step=step,
            )


def _loans(reads: Sequence[LoanRead], on: date, steps: Collection[int]) -> Iterable[Reminder]:
    for read in reads:
        if not read.is_open:
            continue
        subject, path = f"agreement {read.loan.reference}", reverse("loan", args=[read.loan.pk])
        for about, day, detail in (
            (About.LOAN_BACK, read.until, f"with {read.loan.party}, last day agreed"),
            (About.LOAN_LETTER, read.confirm_by, f"letter of {read.loan.party}"),
        ):
            step = step_of((day - on).days, steps) if day else None
            if day and step is not None:
                key = f"{about.value}-{read.loan.pk}-{day}"
                yield Reminder(about, subject, day, on, path, key, detail, step)
