"""What travels with animals that leave: who they are, where they come from, what to beware of."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from inventory.book.models import Event, Flow, Lot, Sex
from inventory.book.queries.quantities import source_labels
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.mfu import mfu
from inventory.names.queries.lists import Listing, listings_of
from inventory.people.models import House
from inventory.people.queries import the_house

from ..models import Loan, LoanLot, Permit
from ..rules.notices import plural

# Departures by which animals travel to somebody else.
TRAVELS = (EventKind.SENT, EventKind.LOAN_OUT, EventKind.GIVEN_BACK)


@dataclass(frozen=True, slots=True)
class Consigned:
    """Animals of one lot that travel together. ``stages`` in words, with numbers."""

    lot: Lot
    males: int
    females: int
    others: int
    stages: str
    source: str
    listings: Sequence[Listing]

    @property
    def total(self) -> int:
        """How many travel."""
        return self.males + self.females + self.others

    @property
    def number(self) -> str:
        """ "3 animals, 1.2.0": the second is males, females, others, the trade's way."""
        unit = self.lot.unit if self.total == 1 else plural(self.lot.unit)
        return f"{self.total} {unit}, {mfu(self.males, self.females, 0, self.others)}"

    @property
    def hazards(self) -> list[Listing]:
        """Cautions for who opens the box; those for all work with animals too."""
        return [one for one in self.listings if one.is_hazard]

    @property
    def law(self) -> list[Listing]:
        """What lists of trade and protection say."""
        return [one for one in self.listings if not one.is_hazard]


@dataclass(frozen=True, slots=True)
class Transport:
    """One departure with all that goes on its paper."""

    event: Event
    house: House | None
    consigned: Sequence[Consigned]
    permits: Sequence[Permit]
    loans: Sequence[Loan]

    @property
    def total(self) -> int:
        """How many travel in all."""
        return sum(one.total for one in self.consigned)


def transport_of(event: Event) -> Transport | None:
    """The paper of a departure; none where nobody travels or the event was taken back."""
    if event.kind not in TRAVELS or Event.objects.filter(reverses=event).exists():
        return None
    flows = Flow.objects.filter(event=event).select_related("from_cell__lot__taxon").order_by("id")
    by_lot: defaultdict[int, list[Flow]] = defaultdict(list)
    for flow in flows:
        by_lot[flow.from_cell.lot_id].append(flow)
    lots = {pk: together[0].from_cell.lot for pk, together in by_lot.items()}
    listings = listings_of(list({lot.taxon_id: lot.taxon for lot in lots.values()}.values()))
    labels = source_labels(before=event.effective_at)
    consigned = [
        _consigned(lots[pk], together, labels.get(pk, ""), listings.get(lots[pk].taxon_id, []))
        for pk, together in by_lot.items()
    ]
    return Transport(
        event=event,
        house=the_house(),
        consigned=consigned,
        permits=_permits(event, [one.source for one in consigned]),
        loans=list(Loan.objects.filter(pk__in=LoanLot.objects.filter(lot__in=lots).values("loan"))),
    )


def departures_of(loan: Loan) -> list[Event]:
    """Departures of the animals of a loan that have their paper, oldest first."""
    events = Event.objects.filter(
        kind__in=TRAVELS, reversed_by=None, flows__from_cell__lot__in=loan.lots.values("lot")
    )
    return list(events.order_by("effective_at", "id").distinct())


def _consigned(lot: Lot, flows: Sequence[Flow], source: str, listings: Sequence[Listing]) -> Consigned:
    by_sex: defaultdict[str, int] = defaultdict(int)
    by_stage: defaultdict[str, int] = defaultdict(int)
    for flow in flows:
        by_sex[flow.from_cell.sex] += flow.n
        by_stage[flow.from_cell.stage] += flow.n
    males, females = by_sex.pop(Sex.MALE, 0), by_sex.pop(Sex.FEMALE, 0)
    stages = ", ".join(f"{n} {stage}" for stage, n in sorted(by_stage.items()) if stage)
    return Consigned(lot, males, females, sum(by_sex.values()), stages, source, listings)


def _permits(event: Event, sources: Collection[str]) -> list[Permit]:
    """Permits under which the animals were taken, as their sources name them, and that of the event."""
    return [
        permit
        for permit in Permit.objects.select_related("authority").prefetch_related("versions")
        if permit.number == event.permit_number or any(permit.number in source for source in sources)
    ]
