"""Recomputes the whole ledger and says what does not hold.

The table's owner can switch triggers off, so nothing that the database keeps is believed: every
hash, balance, history and snapshot is computed again from the rows.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from itertools import groupby

from django.db import connection, transaction
from django.db.models import F, Q

from inventory.db import triggers

from ..models import Account, Cell, Event, Flow, Lot, LotKind, PeriodVersion, StatedRange, VersionStatement
from ..rules import audit, chain
from ..rules.fingerprint import CONTENTS, contents_problems, fingerprint, sha256
from ..rules.individuals import first_breach
from ..rules.kinds import EventKind
from ..rules.ranges import Bounds
from ..rules.running import CellKey, FlowDraft, outside_account, place_account
from .quantities import cell_balances

# Rows read at once: memory stays the same however long the history is.
READ_AT_ONCE = 5_000


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold: which check, at what, and what is wrong."""

    check: str
    where: str
    problem: str


@dataclass(slots=True)
class Verified:
    """What was looked at, and what was found. ``head`` is the last event's hash."""

    events: int
    flows: int
    head: str
    findings: list[Finding]


@dataclass(slots=True)
class _Recount:
    """What is summed while the events are read once, in the order of the chain."""

    cells: dict[int, CellKey]
    individuals: set[str]
    events: int = 0
    flows: int = 0
    head: str = chain.GENESIS
    balances: Counter[int] = field(default_factory=Counter)
    histories: dict[str, list[tuple[datetime, FlowDraft]]] = field(default_factory=lambda: defaultdict(list))


def verify(zone: tzinfo) -> Verified:
    """Checks every rule of the ledger. Reads only, in one transaction, so that the book holds still."""
    with transaction.atomic():
        individuals = Lot.objects.filter(kind=LotKind.INDIVIDUAL).values_list("accession", flat=True)
        recount = _Recount(_cells(), set(individuals))
        findings = [
            *(Finding("triggers", name, "is not in the database") for name in triggers.missing(connection)),
            *_events(recount),
            *_moments(),
            *_reversals(recount.cells),
            *_balances(recount),
            *_individuals(recount, zone),
            *_snapshots(),
            *_statements(),
        ]
        return Verified(recount.events, recount.flows, recount.head, findings)


def _cells() -> dict[int, CellKey]:
    """Every cell by its meaning."""
    accounts = {
        number: place_account(code) if code else outside_account(cause)
        for number, code, cause in Account.objects.values_list("id", "place__code", "cause")
    }
    rows = Cell.objects.values_list("id", "lot__accession", "account_id", "sex", "stage", "standing")
    return {
        number: CellKey(lot, accounts[account], sex, stage, standing)
        for number, lot, account, sex, stage, standing in rows.iterator(READ_AT_ONCE)
    }


def _events(recount: _Recount) -> Iterator[Finding]:
    """Hashes, gaps and the form of each event; sums the flows on the way."""
    all_flows = Flow.objects.order_by("event_id", "id").values_list(
        "event_id", "from_cell_id", "to_cell_id", "n"
    )
    by_event = groupby(all_flows.iterator(READ_AT_ONCE), key=lambda row: row[0])
    ahead = next(by_event, None)
    ranges = {event: Bounds(low, high) for event, low, high in StatedRange.objects.values_list()}
    last_id = 0
    for event in Event.objects.order_by("id").iterator(READ_AT_ONCE):
        flows: list[FlowDraft] = []
        while ahead and ahead[0] <= event.id:
            if ahead[0] == event.id:
                flows = [_count(recount, event, *row[1:]) for row in ahead[1]]
            ahead = next(by_event, None)
        name = f"event {event.id}"
        bounds = ranges.get(event.id)
        for problem in audit.chain_problems(event, flows, last_id, recount.head, bounds):
            yield Finding("chain", name, problem)
        for problem in audit.flow_problems(EventKind(event.kind), flows):
            yield Finding("event", name, problem)
        for problem in audit.range_problems(EventKind(event.kind), flows, bounds) if bounds else ():
            yield Finding("event", name, problem)
        recount.events += 1
        last_id, recount.head = event.id, event.hash


def _count(recount: _Recount, event: Event, from_id: int, to_id: int, n: int) -> FlowDraft:
    flow = FlowDraft(recount.cells[from_id], recount.cells[to_id], n)
    recount.flows += 1
    recount.balances[from_id] -= n
    recount.balances[to_id] += n
    for lot in {flow.from_cell.lot, flow.to_cell.lot} & recount.individuals:
        recount.histories[lot].append((event.effective_at, flow))
    return flow


def _moments() -> Iterator[Finding]:
    """A flow repeats the moments of its event."""
    astray = Flow.objects.exclude(
        effective_at=F("event__effective_at"), entered_at=F("event__entered_at")
    ).values_list("id", "event_id")
    for number, event in astray:
        yield Finding("event", f"event {event}", f"its flow {number} carries other moments than it does")
    mismarked = Flow.objects.filter(
        Q(reversal=True, event__reverses=None) | Q(reversal=False, event__reverses__isnull=False)
    )
    for number, event in mismarked.values_list("id", "event_id"):
        yield Finding("event", f"event {event}", f"its flow {number} says wrongly whether it takes back")


def _reversals(cells: dict[int, CellKey]) -> Iterator[Finding]:
    """Each reversal undoes exactly its event, at that event's moment."""
    pairs = dict(Event.objects.filter(kind=EventKind.REVERSED).values_list("id", "reverses_id"))
    flows: dict[int, list[FlowDraft]] = defaultdict(list)
    rows = Flow.objects.filter(
        Q(event__kind=EventKind.REVERSED) | Q(event__reversed_by__isnull=False)
    ).values_list("event_id", "from_cell_id", "to_cell_id", "n")
    for event, from_id, to_id, n in rows.iterator(READ_AT_ONCE):
        flows[event].append(FlowDraft(cells[from_id], cells[to_id], n))
    for event, target in pairs.items():
        if target is None:
            yield Finding("event", f"event {event}", "is a reversal of nothing")
            continue
        for problem in audit.mirror_problems(flows[event], flows[target]):
            yield Finding("event", f"event {event}", problem)
    displaced = Event.objects.filter(kind=EventKind.REVERSED).exclude(
        effective_at=F("reverses__effective_at")
    )
    for event in displaced.values_list("id", flat=True):
        yield Finding("event", f"event {event}", "is not dated at the moment of what it takes back")


def _balances(recount: _Recount) -> Iterator[Finding]:
    """The cached numbers are the sums of the flows."""
    held: Counter[str] = Counter()
    cached = Cell.objects.values_list("id", "balance", "inside", "capped")
    for number, balance, inside, capped in cached.iterator(READ_AT_ONCE):
        cell = recount.cells[number]
        where = f"cell {number} ({cell.lot}, {cell.account}, {cell.sex})"
        computed = recount.balances[number]
        if balance != computed:
            yield Finding("balance", where, f"says {balance}, its flows make {computed}")
        if inside != cell.inside or capped != (cell.inside and cell.lot in recount.individuals):
            yield Finding("balance", where, "is not marked as what it is")
        if cell.inside:
            held[cell.lot] += computed
    for accession, cached_held in Lot.objects.values_list("accession", "held").iterator(READ_AT_ONCE):
        if cached_held != held[accession]:
            yield Finding(
                "balance", f"lot {accession}", f"says {cached_held}, its flows make {held[accession]}"
            )


def _individuals(recount: _Recount, zone: tzinfo) -> Iterator[Finding]:
    for lot, history in recount.histories.items():
        breach = first_breach(lot, history, zone)
        if breach:
            yield Finding("individual", f"lot {lot}", breach[1])


def _snapshots() -> Iterator[Finding]:
    """Each closing's balances are what the book held at the period's end, as known at the closing."""
    for version in PeriodVersion.objects.select_related("period"):
        kept = dict(version.balances.values_list("cell_id", "n"))
        computed = cell_balances(before=version.boundary, known_at=version.closed_at, snapshots=False)
        if kept != computed:
            differing = sum(
                1 for cell in kept.keys() | computed.keys() if kept.get(cell) != computed.get(cell)
            )
            yield Finding("snapshot", str(version), f"{differing} balances differ from their flows")
        if version.fingerprint != fingerprint(kept):
            yield Finding("snapshot", str(version), "its fingerprint is not that of its balances")


def _statements() -> Iterator[Finding]:
    """The papers of each closing are those that its list of contents names, byte for byte."""
    papers: dict[int, dict[str, tuple[str, bytes]]] = defaultdict(dict)
    for paper in VersionStatement.objects.order_by("id").iterator(READ_AT_ONCE):
        papers[paper.version_id][paper.name] = (paper.sha256, bytes(paper.content))
    hashes = dict(Event.objects.values_list("id", "hash"))
    for version in PeriodVersion.objects.select_related("period").filter(pk__in=papers):
        kept = papers[version.pk]
        for name, (digest, content) in kept.items():
            if sha256(content) != digest:
                yield Finding("closing", str(version), f"its paper {name!r} was changed")
        contents = kept.get(CONTENTS, ("", b""))[1]
        made = {name: digest for name, (digest, _) in kept.items() if name != CONTENTS}
        for problem in contents_problems(contents, version.fingerprint, made, hashes):
            yield Finding("closing", str(version), problem)
