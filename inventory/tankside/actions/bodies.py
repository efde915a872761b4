"""Keeps what became of a body."""

from datetime import datetime

from django.db import transaction

from inventory.book.models import Event, Flag, Lot
from inventory.book.models.flags import FlagKind
from inventory.db.locks import serialize_writers
from inventory.db.prepared import Prepared, Question
from inventory.names.models import CountClass
from inventory.people.models import Person
from inventory.permits.models import PermitVersion

from ..models import Body
from ..queries.bodies import holder_of
from ..rules.stated import StatedBody

# Permits that want to be told of a death, of those under which the lot came.
_TOLD_OF = Prepared(
    lambda lot: PermitVersion.objects.filter(
        permit__number__in=Event.objects.filter(flows__to_cell__lot=lot)
        .exclude(permit_number="")
        .values("permit_number"),
        notice_days__isnull=False,
    ).values_list("id")[:1],
    Lot._meta.get_field("id"),
)


def must_state_body(lot: Lot) -> bool:
    """Whether a death of this lot needs a word on the body: class A does, and what was taken
    under a permit that wants to be told of a death."""
    return _is_exact(lot) or bool(_TOLD_OF(lot.pk))


def asked_whether_told(lot: Lot) -> Question | None:
    """What :func:`must_state_body` asks, for who reads ahead."""
    return None if _is_exact(lot) else _TOLD_OF.of(lot.pk)


def _is_exact(lot: Lot) -> bool:
    return (lot.count_class or lot.taxon.count_class) == CountClass.EXACT


def keep_body(*, event: int, body: StatedBody, by: Person, now: datetime) -> Body | str:
    """Keeps the statement on an event, by its number. Inside a transaction, under the writers' lock.

    A bag that holds another death's body is left out, and why is answered. The death is real whatever
    the bag's number: the question goes to the registrar.
    """
    taken = holder_of(body.bag, but=event)
    kept = Body.objects.create(
        event_id=event,
        kept=body.kept,
        bag="" if taken else body.bag,
        part=body.part,
        stated_by=by,
        stated_at=now,
    )
    if taken is None:
        return kept
    return f"bag {body.bag} is in use for event {taken.event_id}: look at the bag and say its number"


class BagInUse(Exception):
    """Another death's body is in that bag; the message names its event."""


@transaction.atomic
def state_body(*, event: Event, body: StatedBody, by: Person, now: datetime) -> Body:
    """Says later what became of a body; settles the question. Raises :class:`BagInUse`."""
    serialize_writers()
    taken = holder_of(body.bag, but=event.pk)
    if taken is not None:
        raise BagInUse(f"Bag {body.bag} is in use for event {taken.event_id}.")
    kept = Body.objects.create(
        event=event, kept=body.kept, bag=body.bag, part=body.part, stated_by=by, stated_at=now
    )
    Flag.objects.filter(event=event, kind=FlagKind.BODY, settled_at=None).update(
        settled_at=now, settled_by=by
    )
    return kept
