"""People whom a load names and the house does not know yet."""

from collections.abc import Iterable

from inventory.people.models import Person

from .report import LoadReport


def register_people(names: Iterable[str], report: LoadReport) -> None:
    """Creates who is missing, without a sign-in: a house's history names people who left."""
    wanted = sorted({name for name in names if name})
    known = set(Person.objects.filter(name__in=wanted).values_list("name", flat=True))
    new = [name for name in wanted if name not in known]
    Person.objects.bulk_create([Person(name=name) for name in new])
    report.note("people", (f"{name}: new, without a sign-in" for name in new))
