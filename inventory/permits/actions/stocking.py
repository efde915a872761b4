"""Brings what was kept into the stock: one event of kind ``taken`` for each take, by the ledger's writer."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from uuid import UUID, uuid5

from inventory.book.actions.post import LedgerRefused, post_events
from inventory.book.actions.register import register_lots
from inventory.book.models import Event, Flow, Lot, LotKind, Place
from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers, Problem
from inventory.book.rules.happened import Happened
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.sheets import LotRow
from inventory.people.models import Person

from ..models import Take, TakeEvent
from .entries import TakeEntry, TripRefused, When

# Identifiers of the events that a take makes: the same take is the same event.
_EVENTS_OF_TAKES = UUID("0d7a4a1c-6f83-5f0e-8f1b-2c6d6a0f4c55")
_COLUMN_OF_SEX = {"male": "males", "female": "females", "hermaphrodite": "hermaphrodites"}


def event_identifier(take: UUID) -> UUID:
    """The identifier of the event that brings a take into the stock."""
    return uuid5(_EVENTS_OF_TAKES, str(take))


@dataclass(slots=True)
class _Item:
    """One take on its way into the stock."""

    index: int
    take: Take
    entry: TakeEntry


class Stocking:
    """The takes of one slip on their way into the stock. Collects what is wrong, then tells all of it."""

    def __init__(self, happened: Happened, *, by: Person, when: When, zone: tzinfo) -> None:
        self._happened = happened
        self._by = by
        self._when = when
        self._zone = zone
        self._items: list[_Item] = []
        self._problems: list[Problem] = []

    def add(self, index: int, take: Take, entry: TakeEntry) -> None:
        """One take, not saved yet; gets its lot here."""
        self._items.append(_Item(index, take, entry))

    def post(self) -> dict[int, list[int]]:
        """The events of each take, by its index. Raises :class:`TripRefused`."""
        linked = self._linked()
        fresh = [item for item in self._items if item.take.kept and not item.entry.events]
        fresh = [item for item in fresh if not item.entry.stock_later]
        self._choose_lots(fresh)
        self._check_numbers(fresh)
        if self._problems:
            raise TripRefused(self._problems)
        self._make_lots([item for item in fresh if item.take.lot is None])
        drafts = [self._draft(item) for item in fresh]
        try:
            posted = post_events(drafts, now=self._when.now, zone=self._zone)
        except LedgerRefused as refused:
            raise TripRefused(
                [
                    Problem(fresh[p.draft].index, fresh[p.draft].entry.origin, p.column, p.message)
                    for p in refused.problems
                ]
            ) from refused
        made = {item.index: [one.event_id] for item, one in zip(fresh, posted, strict=True)}
        return made | linked

    def link(self, take: Take, events: Sequence[int]) -> None:
        """Points a saved take to its events."""
        TakeEvent.objects.bulk_create([TakeEvent(take=take, event_id=event) for event in events])

    def _refuse(self, item: _Item, column: str, message: str) -> None:
        self._problems.append(Problem(item.index, item.entry.origin, column, message))

    def _choose_lots(self, items: Sequence[_Item]) -> None:
        wanted = {item.entry.lot for item in items if item.entry.lot}
        lots = {
            lot.accession: lot for lot in Lot.objects.select_related("taxon").filter(accession__in=wanted)
        }
        places = set(
            Place.objects.filter(code__in={item.entry.place for item in items}).values_list("code", flat=True)
        )
        for item in items:
            entry, taxon = item.entry, item.take.taxon
            if not entry.place:
                self._refuse(item, "place", f"{entry.kept} were kept; say which place they went to")
            elif entry.place not in places:
                self._refuse(item, "place", f"there is no place {entry.place!r}")
            if not entry.lot:
                continue
            lot = lots.get(entry.lot)
            if lot is None:
                self._refuse(item, "lot", f"there is no lot {entry.lot!r}; leave it empty for a new one")
            elif taxon is not None and lot.taxon_id != taxon.pk:
                self._refuse(
                    item,
                    "lot",
                    f"{lot.accession} is of {lot.taxon.scientific_name}, not of {taxon.scientific_name}; "
                    "choose another, or leave it empty for a new one",
                )
            else:
                item.take.lot = lot

    def _check_numbers(self, items: Sequence[_Item]) -> None:
        for item in items:
            take, taxon = item.take, item.take.taxon
            unit = take.lot.unit if take.lot else taxon.unit if taxon else "animal"
            if item.entry.individual and numbers_of(take).total != 1:
                self._refuse(item, "kept", "an animal recorded by itself has a row of its own, with 1 kept")
            if take.into_stock is None and take.unit != unit:
                self._refuse(
                    item,
                    "into_stock",
                    f"the {take.kept} kept are counted in {take.unit!r}, the stock in {unit!r}: "
                    f"say how many of the unit {unit!r} went into the stock",
                )

    def _make_lots(self, items: Sequence[_Item]) -> None:
        kinds = {True: LotKind.INDIVIDUAL.value, False: LotKind.GROUP.value}
        rows = [
            LotRow(accession="", name=item.entry.name.strip(), kind=kinds[item.entry.individual])
            for item in items
        ]
        taxa = {item.entry.name.strip(): item.take.taxon for item in items if item.take.taxon}
        made = register_lots(rows, taxa)
        lots = Lot.objects.in_bulk(made.names, field_name="accession")
        for item, accession in zip(items, made.names, strict=True):
            item.take.lot = lots[accession]

    def _draft(self, item: _Item) -> EventDraft:
        take, entry = item.take, item.entry
        assert take.lot is not None
        return EventDraft(
            identifier=event_identifier(take.identifier),
            kind=EventKind.TAKEN,
            happened=self._happened,
            entered_by=self._by.name,
            entered_at=self._when.entered_at,
            lines=(DraftLine(take.lot.accession, entry.place, numbers_of(take), stage=take.stage),),
            permit_number=take.permit.number,
            note=entry.remarks,
        )

    def _linked(self) -> dict[int, list[int]]:
        """Events that stand in the book already, for takes that name them; the numbers must agree."""
        items = [item for item in self._items if item.entry.events]
        wanted = {identifier for item in items for identifier in item.entry.events}
        events = dict(Event.objects.filter(identifier__in=wanted).values_list("identifier", "id"))
        brought = _brought(list(events.values()))
        linked: dict[int, list[int]] = {}
        for item in items:
            missing = [str(one) for one in item.entry.events if one not in events]
            if missing:
                self._refuse(item, "events", f"no such event is in the book: {', '.join(missing)}")
                continue
            linked[item.index] = [events[one] for one in item.entry.events]
            self._check_linked(item, linked[item.index], brought)
        return linked

    def _check_linked(
        self, item: _Item, events: Sequence[int], brought: Mapping[tuple[int, int], dict[int, int]]
    ) -> None:
        taxon = item.take.taxon
        lots: dict[int, int] = {}
        for event in events:
            for lot, n in brought.get((event, taxon.pk if taxon else 0), {}).items():
                lots[lot] = lots.get(lot, 0) + n
        expected = item.take.into_stock if item.take.into_stock is not None else item.take.kept
        if sum(lots.values()) != expected:
            name = taxon.scientific_name if taxon else item.entry.name
            self._refuse(
                item, "events", f"the events brought {sum(lots.values())} {name}; the take says {expected}"
            )
        if len(lots) == 1:
            item.take.lot_id = next(iter(lots))


def _brought(events: Collection[int]) -> dict[tuple[int, int], dict[int, int]]:
    """What arrivals brought: by event and taxon, the number of each lot. One query."""
    flows = Flow.objects.filter(event__in=events, event__kind=EventKind.TAKEN, to_cell__inside=True)
    found: dict[tuple[int, int], dict[int, int]] = {}
    for event, taxon, lot, n in flows.values_list(
        "event_id", "to_cell__lot__taxon_id", "to_cell__lot_id", "n"
    ):
        lots = found.setdefault((event, taxon), {})
        lots[lot] = lots.get(lot, 0) + n
    return found


def numbers_of(take: Take) -> Numbers:
    """What a take brings into the stock, in the column of its sex."""
    n = take.kept if take.into_stock is None else take.into_stock
    return Numbers(**{_COLUMN_OF_SEX.get(take.sex, "unknown"): n})
