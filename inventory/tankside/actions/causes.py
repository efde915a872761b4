"""Keeps the cause of a death that was found afterwards; the book's number is not touched."""

from datetime import datetime

from django.db import transaction

from inventory.book.models import Event
from inventory.db.locks import serialize_writers
from inventory.people.models import Person

from ..models import FoundCause


@transaction.atomic
def state_cause(*, event: Event, cause: str, how: str, by: Person, now: datetime) -> FoundCause:
    """Keeps ``cause`` with a death. The same words as those that hold are kept once."""
    serialize_writers()
    last = FoundCause.objects.filter(event=event).last()
    if last is not None and (last.cause, last.how) == (cause, how):
        return last
    return FoundCause.objects.create(event=event, cause=cause, how=how, stated_by=by, stated_at=now)
