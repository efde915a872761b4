"""Whom a permit or a trip may name."""

from django.db.models import Exists, F, OuterRef, QuerySet

from inventory.book.models import Event
from inventory.people.models import Person

_ENTERED = Event.objects.filter(entered_by=OuterRef("pk"))


def people() -> QuerySet[Person]:
    """Everybody of the house, those who left last: a slip of last year names them. One query.

    A program that wrote into the book under a name of its own is nobody: it has neither sign-in nor code, and
    all its entries say from which machine they came. A person without both enters nothing by a machine.
    """
    program = Person.objects.filter(
        Exists(_ENTERED), ~Exists(_ENTERED.filter(device="")), user=None, code=None, left_on=None
    )
    people = Person.objects.exclude(pk__in=program.values("pk"))
    return people.order_by(F("left_on").asc(nulls_first=True), "name")
