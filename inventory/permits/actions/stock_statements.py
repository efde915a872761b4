"""Writing down that a statement of stock went to the authority."""

from datetime import date, datetime, tzinfo

from django.db import transaction

from inventory.people.models import Person

from ..models import Permit, StatementSent
from .permits import PermitRefused


@transaction.atomic
def record_statement(
    *, permit: Permit, as_of: date, sent_on: date, how: str, by: Person, now: datetime, zone: tzinfo
) -> StatementSent:
    """Keeps that the stock at the end of ``as_of`` was stated. Raises :class:`PermitRefused`."""
    if sent_on > now.astimezone(zone).date():
        raise PermitRefused("sent_on", f"{sent_on} lies in the future")
    if sent_on < as_of:
        raise PermitRefused("sent_on", f"the stock at the end of {as_of} was not known yet on {sent_on}")
    return StatementSent.objects.create(
        permit=permit, as_of=as_of, sent_on=sent_on, how=how, entered_at=now, entered_by=by
    )
