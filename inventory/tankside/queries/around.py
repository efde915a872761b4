"""What a batch of entries touches, read in sets before the first is taken."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from functools import cached_property

from django.contrib.auth.models import Group
from django.db.models import Exists, F, OuterRef

from inventory.book.models import Lot, PeriodVersion, Place
from inventory.book.queries.settings import asked_numbers, numbers_in_use
from inventory.book.who import RECORDS
from inventory.db.prepared import Instances, Prepared, read_ahead
from inventory.people.models import Device, House, Person
from inventory.people.queries.devices import read_pass
from inventory.people.rules.roles import Role

from ..rules.stated import Stated
from ..rules.times import Clock


@dataclass(frozen=True, slots=True)
class Author:
    """Somebody whom an entry names, and what is known of them."""

    person: Person
    may_record: bool
    code_changed_at: datetime | None

    def doubt(self, entry: Stated, device: Device, *, at: datetime, today: date) -> str:
        """Why it is not certain that this person wrote the entry, or should have; empty when it is."""
        stated = read_pass(entry.signed) if entry.signed else None
        if stated is None or not stated.holds(
            person=self.person.pk, device=device.pk, moment=at, code_changed_at=self.code_changed_at
        ):
            return "not confirmed by a code"
        if self.person.left_on is not None and self.person.left_on <= today:
            return f"{self.person.name} left the house on {self.person.left_on}"
        if not self.may_record:
            return f"{self.person.name} has no role that records at the tank"
        return ""


@dataclass
class Surroundings:
    """The house around a batch."""

    device: Device
    clock: Clock
    now: datetime
    zone: tzinfo
    authors: dict[int, Author]
    places: dict[str, Place]
    lots: dict[str, Lot]
    numbers: dict[str, int]

    def entered_at(self, entry: Stated, effective_at: datetime) -> datetime | None:
        """The ledger's ``entered_at`` for what counts from ``effective_at``; None is now."""
        if not self.clock.waited(entry.saved_at):
            return None
        return self.clock.entered(entry.saved_at, effective_at=effective_at, closings=self.closings)

    @cached_property
    def closings(self) -> list[tuple[datetime, datetime]]:
        """(up to when a closing counts, when it was made); asked for by what had to wait only."""
        return list(PeriodVersion.objects.values_list("boundary", "closed_at"))

    @cached_property
    def registrar_id(self) -> int | None:
        """Who owns what nobody else owns; asked for when something is flagged."""
        return next((registrar for (registrar,) in _REGISTRAR()), None)

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()


def read(
    entries: Sequence[Stated], *, device: Device, sent_at: datetime, now: datetime, zone: tzinfo
) -> Surroundings:
    """Four queries, however many entries."""
    accessions = {code for entry in entries for code in (entry.lot, entry.to_lot) if code}
    codes = {code for entry in entries for code in (entry.place, entry.to_place) if code}
    authors = {entry.person for entry in entries if entry.person is not None}
    with read_ahead(_AUTHORS.of(authors), _PLACES.of(codes), _LOTS.of(accessions), asked_numbers()):
        return Surroundings(
            device=device,
            clock=Clock(sent_at, now),
            now=now,
            zone=zone,
            authors=_authors(authors),
            places={place.code: place for place in _PLACES(codes)},
            lots={lot.accession: lot for lot in _LOTS(accessions)},
            numbers=numbers_in_use(),
        )


_REGISTRAR = Prepared(lambda: House.objects.order_by("pk").values_list("registrar_id")[:1])
_PLACES = Instances(
    lambda some: Place.objects.filter(code__in=some), [Place._meta.get_field("code")], model=Place
)
_LOTS = Instances(
    lambda some: Lot.objects.filter(accession__in=some),
    [Lot._meta.get_field("accession")],
    model=Lot,
    beside="taxon",
)
_AUTHORS = Instances(
    lambda some: Person.objects.filter(pk__in=some).annotate(
        may_record=Exists(
            Group.objects.filter(user__person=OuterRef("pk"), name__in=[role.value for role in RECORDS])
        ),
        code_changed_at=F("code__changed_at"),
    ),
    [Person._meta.get_field("id")],
    model=Person,
    more=("may_record", "code_changed_at"),
)


def _authors(ids: Collection[int]) -> dict[int, Author]:
    """One query."""
    return {
        person.pk: Author(person, may_record=bool(may_record), code_changed_at=code_changed_at)
        for person, may_record, code_changed_at in _AUTHORS.with_more(ids)
    }


# Whom a device offers: those who record, and those who count.
OFFERED = (*RECORDS, Role.COUNTER)
