"""Lots for open names, and the word that ends the question."""

from datetime import datetime, tzinfo
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from inventory.book.actions.post import post_event
from inventory.book.actions.register import register_lots
from inventory.book.models import Event, Flag, Lot, LotKind, Place
from inventory.book.models.flags import FlagKind
from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers
from inventory.book.rules.happened import parse_happened
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.sheets import LotRow
from inventory.names.models import Taxon, TaxonName
from inventory.people.models import Person

from ..models import OpenLot
from ..rules.open_names import Meant, label_of, meant, strictest
from ..rules.stated import comes_back

_CLASSIFICATION = ("kingdom", "phylum", "class_name", "order", "family", "genus")
REASON = "the open name is known now"


class NotThisOne(Exception):
    """The open name cannot be settled so; the message says why."""


def lot_of_open_name(key: str, place: Place, *, now: datetime) -> Lot:
    """The lot that stands for this open name in this place; made when it is first needed.

    It has the strictest count class of those that it may be, so that nothing asked of one of them is
    left out. Raises :class:`ComesBack` for a name that no animal of the house bears.
    """
    found = OpenLot.objects.select_related("lot__taxon").filter(place=place, key=key).first()
    if found is not None:
        return found.lot
    of = meant(key)
    members = members_of(of) if of else []
    if of is None or not members:
        raise comes_back("open_name", f"no animal of this house goes by {key!r}: choose from the list again")
    taxon = _open_taxon(of, members, now=now)
    row = LotRow(accession="", name=taxon.scientific_name, kind=LotKind.GROUP, unit=of.unit)
    made = register_lots([row], {taxon.scientific_name: taxon})
    lot = Lot.objects.select_related("taxon").get(accession=made.names[0])
    OpenLot.objects.create(place=place, key=key, lot=lot)
    return lot


def members_of(of: Meant) -> list[Taxon]:
    """The taxa of the house that an open name may mean, those with an open name of their own left out."""
    taxa = Taxon.objects.filter(joined_into=None).exclude(lots__open_lot__isnull=False)
    if of.is_set:
        return list(taxa.filter(look_alike_set=of.of))
    return list(taxa.filter(Q(genus=of.of) | Q(genus="", scientific_name__startswith=f"{of.of} ")))


@transaction.atomic
def settle_open_name(
    *, event: Event, lot: Lot, identifier: UUID, by: Person, now: datetime, zone: tzinfo
) -> Event:
    """ "It was one of these": the animals of ``event`` are regrouped from ``lot`` into the open lot.

    At the moment of the event itself, so that each book falls when it did. What was first said stays
    as it was said, in the stories of both lots. Raises :class:`NotThisOne`, and
    :class:`~inventory.book.actions.post.LedgerRefused`, for an individual that was elsewhere then.
    """
    flows = list(
        event.flows.select_related("from_cell__lot__taxon", "from_cell__account__place").order_by("id")
    )
    flag = Flag.objects.filter(event=event, kind=FlagKind.OPEN_NAME, settled_at=None).first()
    if flag is None or not flows:
        raise NotThisOne("This name is not open any more: somebody was faster.")
    open_lot = flows[0].from_cell.lot
    place = flows[0].from_cell.account.place
    of = meant(OpenLot.objects.values_list("key", flat=True).get(lot=open_lot))
    if place is None or of is None or lot.taxon_id not in {taxon.pk for taxon in members_of(of)}:
        raise NotThisOne(f"{lot.accession} is none of {open_lot.taxon.scientific_name}.")
    if lot.unit != open_lot.unit:
        raise NotThisOne(f"{lot.accession} is counted in {lot.unit}, this was {open_lot.unit}.")
    numbers = {
        sex: sum(flow.n for flow in flows if flow.from_cell.sex == sex)
        for sex in ("male", "female", "hermaphrodite", "unknown")
    }
    line = DraftLine(
        lot=lot.accession,
        place=place.code,
        numbers=Numbers(numbers["male"], numbers["female"], numbers["hermaphrodite"], numbers["unknown"]),
        to_lot=open_lot.accession,
    )
    posted = post_event(
        EventDraft(
            identifier=identifier,
            kind=EventKind.REGROUPED,
            happened=parse_happened(event.happened),
            entered_by=by.name,
            lines=(line,),
            reason=REASON,
            evidence=f"event {event.pk} said {open_lot.taxon.scientific_name}",
        ),
        now=now,
        zone=zone,
    )
    Flag.objects.filter(pk=flag.pk).update(settled_at=now, settled_by=by)
    return Event.objects.get(pk=posted.event_id)


def _open_taxon(of: Meant, members: list[Taxon], *, now: datetime) -> Taxon:
    """The taxon that bears the open name; its classification is what its members have in common."""
    name = label_of(of)
    found = Taxon.objects.filter(scientific_name=name).first()
    if found is not None:
        return found
    shared = {
        column: values.pop() if len(values) == 1 else ""
        for column in _CLASSIFICATION
        if (values := {getattr(taxon, column) for taxon in members})
    }
    taxon = Taxon.objects.create(
        scientific_name=name,
        rank="" if of.is_set else "genus",
        identification_qualifier="" if of.is_set else "sp.",
        common_name=f"{of.of}, species open",
        count_class=strictest(taxon.count_class for taxon in members),
        unit=of.unit,
        **shared,
    )
    TaxonName.objects.create(
        taxon=taxon,
        scientific_name=name,
        qualifier=taxon.identification_qualifier,
        since=now,
        why="a name left open at the tank side",
    )
    return taxon
