"""What the writer reads before it writes: all that a batch of drafts can touch, in sets."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import NamedTuple, TypeVar
from uuid import UUID

from django.db.models import Q, QuerySet

from inventory.db.prepared import Prepared, Question
from inventory.people.models import Person

from ..models import Account, Cell, Event, Flow, Lot, LotKind, PeriodVersion, PlaceKind
from ..rules import chain
from ..rules.drafts import EventDraft
from ..rules.happened import start_of_day
from ..rules.kinds import EventKind
from ..rules.running import (
    CellKey,
    FlowDraft,
    LotFacts,
    PlaceFacts,
    RunningBook,
    outside_account,
    place_account,
)

# Names in one IN (...): below the smallest limit on parameters of the two databases.
ASK_AT_ONCE = 10_000

_EVENTS = Prepared(
    lambda some: Event.objects.filter(identifier__in=some).values_list("id", "identifier", "content_hash"),
    [Event._meta.get_field("identifier")],
)
_HEAD = Prepared(lambda: Event.objects.order_by("-id").values_list("id", "hash")[:1])
_LOTS = Prepared(
    lambda some: Lot.objects.filter(accession__in=some).values_list("id", "accession", "kind", "unit"),
    [Lot._meta.get_field("accession")],
)
_PEOPLE = Prepared(
    lambda some: Person.objects.filter(name__in=some).values_list("name", "id"),
    [Person._meta.get_field("name")],
)
# Every account: its number and cause, and of a place its number, code, name and kind.
_ACCOUNTS = Prepared(
    lambda: Account.objects.values_list(
        "id", "cause", "place_id", "place__code", "place__name", "place__kind"
    )
)
_CLOSINGS = Prepared(lambda: PeriodVersion.objects.values_list("period__starts_on", "boundary", "closed_at"))
_CELLS = Prepared(
    lambda some: Cell.objects.filter(lot__id__in=some).values_list(
        "id", "lot__accession", "account_id", "sex", "stage", "standing", "balance"
    ),
    [Lot._meta.get_field("id")],
)

Thing = TypeVar("Thing")


class Target(NamedTuple):
    """What a reversal can name: an event in the book or earlier in the batch."""

    kind: EventKind
    effective_at: datetime
    entered_at: datetime
    flows: list[FlowDraft]


@dataclass(slots=True)
class Batch:
    """The surroundings of a batch of drafts."""

    book: RunningBook
    people: dict[str, int]
    account_ids: dict[str, int]
    place_ids: dict[str, int]
    lot_ids: dict[str, int]
    cell_ids: dict[CellKey, int]
    # (first moment, moment after the end, newest closing) of every closed period.
    closings: list[tuple[datetime, datetime, datetime]]
    targets: dict[UUID, Target] = field(default_factory=dict)
    reversed_already: set[UUID] = field(default_factory=set)
    ids: dict[UUID, int] = field(default_factory=dict)

    def closed_at(self, moment: datetime) -> datetime | None:
        """The newest closing of a period that holds ``moment``, or None while it is open."""
        closings = [closed for start, end, closed in self.closings if start <= moment < end]
        return max(closings, default=None)

    def counted_at(self, moment: datetime) -> datetime | None:
        """The newest closing whose balances hold what counts from ``moment``, or None.

        Balances at a period's end hold all that came before, so a closing reaches back beyond the
        period's own first day.
        """
        return max((closed for _, end, closed in self.closings if moment < end), default=None)


def will_ask(identifier: UUID, lots: Mapping[str, int], person: str) -> list[Question | None]:
    """What is asked here for one event that is no reversal, of these lots (accession to number)."""
    return [
        _EVENTS.of([identifier]),
        _HEAD.of(),
        _ACCOUNTS.of(),
        _LOTS.of(list(lots)),
        _PEOPLE.of([person]),
        _CLOSINGS.of(),
        _CELLS.of(list(lots.values())),
    ]


def known_events(identifiers: Collection[UUID]) -> dict[UUID, tuple[int, str]]:
    """Number and content hash of the events that the ledger has under these identifiers."""
    return {
        identifier: (number, content)
        for some in _portions(identifiers)
        for number, identifier, content in _EVENTS(some)
    }


def head_of_chain() -> tuple[int, str]:
    """Number and hash of the last event; zero and the genesis hash for an empty ledger."""
    for number, digest in _HEAD():
        return number, digest
    return 0, chain.GENESIS


def read(drafts: Sequence[EventDraft], zone: tzinfo) -> Batch:
    """Reads lots, places, people, closings, balances and histories that ``drafts`` can touch."""
    targets = {draft.reverses for draft in drafts if draft.reverses}
    accessions = {lot for draft in drafts for line in draft.lines for lot in (line.lot, line.to_lot) if lot}
    accessions |= _lots_of_events(targets)
    accounts = _ACCOUNTS()
    names = {name for draft in drafts for name in (draft.entered_by, draft.approved_by) if name}
    lots = [row for some in _portions(accessions) for row in _LOTS(some)]
    batch = Batch(
        book=RunningBook(
            zone=zone,
            lots={
                accession: LotFacts(accession, kind == LotKind.INDIVIDUAL, unit)
                for _, accession, kind, unit in lots
            },
            places={
                code: PlaceFacts(code, name, kind == PlaceKind.OFF_SITE, kind == PlaceKind.FEED)
                for _, _, _, code, name, kind in accounts
                if code
            },
        ),
        people={name: person for some in _portions(names) for name, person in _PEOPLE(some)},
        account_ids={
            place_account(code) if code else outside_account(cause): number
            for number, cause, _, code, _, _ in accounts
        },
        place_ids={place_account(code): place for _, _, place, code, _, _ in accounts if code},
        lot_ids={accession: number for number, accession, _, _ in lots},
        cell_ids={},
        closings=_closings(zone),
    )
    _read_cells(batch)
    _read_histories(batch, [number for number, _, kind, _ in lots if kind == LotKind.INDIVIDUAL])
    _read_targets(batch, targets)
    return batch


def cell_ids(batch: Batch, cells: Iterable[CellKey]) -> dict[CellKey, int]:
    """The rows of ``cells``; those that are new are created."""
    new = [cell for cell in dict.fromkeys(cells) if cell not in batch.cell_ids]
    created = Cell.objects.bulk_create(
        [
            Cell(
                lot_id=batch.lot_ids[cell.lot],
                account_id=batch.account_ids[cell.account],
                sex=cell.sex,
                stage=cell.stage,
                standing=cell.standing,
                inside=cell.inside,
                capped=cell.inside and batch.book.lots[cell.lot].individual,
            )
            for cell in new
        ],
        batch_size=1_000,
    )
    batch.cell_ids.update({cell: row.pk for cell, row in zip(new, created, strict=True)})
    return batch.cell_ids


def _portions(things: Iterable[Thing]) -> Iterator[list[Thing]]:
    listed = list(things)
    for start in range(0, len(listed), ASK_AT_ONCE):
        yield listed[start : start + ASK_AT_ONCE]


def _closings(zone: tzinfo) -> list[tuple[datetime, datetime, datetime]]:
    return [
        (start_of_day(starts_on, zone), boundary, closed_at) for starts_on, boundary, closed_at in _CLOSINGS()
    ]


def _lots_of_events(identifiers: set[UUID]) -> set[str]:
    if not identifiers:
        return set()
    pairs = Flow.objects.filter(event__identifier__in=identifiers).values_list(
        "from_cell__lot__accession", "to_cell__lot__accession"
    )
    return {accession for pair in pairs for accession in pair}


def _read_cells(batch: Batch) -> None:
    accounts = {number: account for account, number in batch.account_ids.items()}
    for some in _portions(batch.lot_ids.values()):
        for number, accession, account, sex, stage, standing, balance in _CELLS(some):
            cell = CellKey(accession, accounts[account], sex, stage, standing)
            batch.cell_ids[cell] = number
            batch.book.put(cell, balance)


def _read_histories(batch: Batch, individuals: list[int]) -> None:
    for some in _portions(individuals):
        flows = Flow.objects.filter(Q(from_cell__lot_id__in=some) | Q(to_cell__lot_id__in=some))
        for _, moment, flow in _flows(batch, flows.order_by("effective_at", "id")):
            batch.book.remember(flow, moment)


def _read_targets(batch: Batch, identifiers: set[UUID]) -> None:
    """The events that reversals of this batch name, with their flows."""
    if not identifiers:
        return
    events = {
        number: (identifier, EventKind(kind), moment, entered_at)
        for number, identifier, kind, moment, entered_at in Event.objects.filter(
            identifier__in=identifiers
        ).values_list("id", "identifier", "kind", "effective_at", "entered_at")
    }
    flows: dict[int, list[FlowDraft]] = {number: [] for number in events}
    for number, _, flow in _flows(batch, Flow.objects.filter(event_id__in=events).order_by("id")):
        flows[number].append(flow)
    for number, (identifier, kind, moment, entered_at) in events.items():
        batch.targets[identifier] = Target(kind, moment, entered_at, flows[number])
        batch.ids[identifier] = number
    batch.reversed_already = set(
        Event.objects.filter(reverses_id__in=events).values_list("reverses__identifier", flat=True)
    )


def _flows(batch: Batch, flows: QuerySet[Flow]) -> Iterator[tuple[int, datetime, FlowDraft]]:
    """(event, moment, flow) with cells by their meaning."""
    accounts = {number: account for account, number in batch.account_ids.items()}
    ends = [
        f"{end}_cell__{name}"
        for end in ("from", "to")
        for name in ("lot__accession", "account_id", "sex", "stage", "standing")
    ]
    for number, moment, n, *cells in flows.values_list("event_id", "effective_at", "n", *ends):
        from_cell = CellKey(cells[0], accounts[cells[1]], *cells[2:5])
        to_cell = CellKey(cells[5], accounts[cells[6]], *cells[7:10])
        yield number, moment, FlowDraft(from_cell, to_cell, n)
