"""Of the animals that were taken under a permit and kept: where are they now, or what became of them?

Read from the ledger alone, as of a day, as known at a moment, through splits, joins, moves and loans. For
pools the least, the most and the even share (`inventory.permits.rules.shares`).
"""

from collections import defaultdict
from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from typing import NamedTuple

from inventory.book.models import Event
from inventory.book.queries.quantities import Traced, TracedFlow, traced_flows
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.happened import end_of_day
from inventory.book.rules.kinds import ARRIVALS, EventKind
from inventory.book.rules.sources import label_of_arrival

from ..models import Permit, Take
from ..rules.shares import Bounds, Shares, Step
from ..rules.whereabouts import ALIVE, FATES, Fate, Whereabouts, fate_of
from .takes import TakeRead, current_takes


class OfPermit(NamedTuple):
    """A source: what came in by one line of one permit. ``line`` None: no slip says which."""

    permit: str
    line: int | None


@dataclass(slots=True)
class PermitWhereabouts:
    """One permit: a row for each line and unit, and in ``together`` one for each unit.

    ``set_aside`` are events that say whose the animals were, against all that is booked before.
    """

    permit: Permit
    as_of: date
    rows: list[Whereabouts] = field(default_factory=list)
    together: list[Whereabouts] = field(default_factory=list)
    set_aside: list[Event] = field(default_factory=list)

    @property
    def headings(self) -> list[str]:
        """Those of the columns."""
        return [fate.words for fate in FATES]

    @property
    def pooled(self) -> bool:
        """Some animals stand in pools, so that there are ranges to explain."""
        return any(row.uncertain for row in self.rows)

    def of_line(self, number: int | None) -> list[Whereabouts]:
        """The rows of one line, one for each unit."""
        return [row for row in self.rows if row.line == number]


def whereabouts(
    permits: Sequence[Permit],
    *,
    as_of: date,
    zone: tzinfo,
    known_at: datetime | None = None,
    hidden: Collection[int] = (),
) -> dict[int, PermitWhereabouts]:
    """Where the animals of each permit are at the end of ``as_of``, by permit id.

    ``hidden`` are places whose numbers the reader may not see: rows with animals that can be there are
    blanked. A constant number of queries, however many permits, lots and flows.
    """
    slips = _Slips(current_takes(known_at=known_at))
    numbers = {permit.number for permit in permits}
    taken_into = _lots_taken_into(numbers, slips.events_of(numbers))
    traced = traced_flows(taken_into, before=end_of_day(as_of, zone), known_at=known_at)
    network = _Network(traced, slips)
    events = Event.objects.in_bulk(network.set_aside)
    found = {}
    for permit in permits:
        of_permit = PermitWhereabouts(permit, as_of)
        of_permit.rows = network.rows(permit.number, hidden=hidden)
        of_permit.together = network.rows(permit.number, hidden=hidden, together=True)
        of_permit.set_aside = [event for event in events.values() if event.permit_number == permit.number]
        found[permit.pk] = of_permit
    return found


class _Slips:
    """What the slips say of the events that they point to. One event may serve several of them."""

    def __init__(self, takes: Sequence[TakeRead]) -> None:
        self.by_event: defaultdict[int, list[Take]] = defaultdict(list)
        for read in takes:
            for event in read.event_ids:
                self.by_event[event].append(read.take)

    def events_of(self, numbers: Collection[str]) -> set[int]:
        """Events to which slips of these permits point."""
        return {
            event
            for event, takes in self.by_event.items()
            if any(take.permit.number in numbers for take in takes)
        }

    def source(self, event: int, end: CellEnd) -> OfPermit | None:
        """The line by which the animals of an event came into a lot: that of the slip which names the
        lot, else the kind of animal, else of the only one."""
        takes = self.by_event.get(event, [])
        named = (
            [take for take in takes if take.lot_id == end.lot_id]
            or [take for take in takes if take.lot_id is None and take.taxon_id == end.taxon_id]
            or (takes if len(takes) == 1 else [])
        )
        return OfPermit(named[0].permit.number, named[0].line_number) if named else None


def _lots_taken_into(numbers: Collection[str], events: Collection[int]) -> set[int]:
    """Lots into which something was taken under these permits, or by these events."""
    taken = Event.objects.filter(kind=EventKind.TAKEN).order_by()
    asked = taken.filter(permit_number__in=numbers) | taken.filter(pk__in=events)
    return {lot for lot in asked.values_list("flows__to_cell__lot", flat=True) if lot is not None}


class _Network:
    """The steps of all lots that share animals with those asked for, and the answers out of them.

    A place is a fate and a unit: lots that share animals count in one unit, so none is mixed.
    """

    def __init__(self, traced: Traced, slips: _Slips) -> None:
        self._traced = traced
        self._slips = slips
        self._came: defaultdict[tuple[OfPermit, str], int] = defaultdict(int)
        self._families: defaultdict[OfPermit, set[int]] = defaultdict(set)
        for flow in traced.flows:
            source = self._source(flow)
            if isinstance(source, OfPermit):
                end = traced.ends[flow.to_cell]
                self._came[source, end.unit] += flow.n
                self._families[source].add(traced.family[end.lot_id])
        steps = [self._step(flow) for flow in traced.flows]
        self._shares = Shares(steps, self._place)
        self.set_aside = {traced.flows[number].event_id for number in self._shares.set_aside}

    def _source(self, flow: TracedFlow) -> Hashable:
        """Where the animals of an arrival came from; None of any other flow."""
        if flow.kind not in ARRIVALS:
            return None
        if of_slip := self._slips.source(flow.event_id, self._traced.ends[flow.to_cell]):
            return of_slip
        if flow.kind == EventKind.TAKEN and flow.permit_number:
            return OfPermit(flow.permit_number, None)
        return label_of_arrival(flow.kind, party=flow.party, permit=flow.permit_number)

    def _step(self, flow: TracedFlow) -> Step:
        if flow.kind in ARRIVALS:
            return Step(None, flow.to_cell, flow.n, self._source(flow))
        return Step(flow.from_cell, flow.to_cell, flow.n, self._evidence(flow))

    def _evidence(self, flow: TracedFlow) -> OfPermit | None:
        """A death, a move or another event that names the permit says whose the animals were.

        Where animals of several lines of it stand together, it does not say by which they came.
        """
        if not flow.permit_number:
            return None
        family = self._traced.family[self._traced.ends[flow.from_cell].lot_id]
        of_permit = [
            source
            for source, families in self._families.items()
            if source.permit == flow.permit_number and family in families
        ]
        return of_permit[0] if len(of_permit) == 1 else None

    def _place(self, cell: Hashable) -> tuple[Fate, str]:
        end = self._traced.ends[cell]  # type: ignore[index]
        return fate_of(end), end.unit

    def rows(self, permit: str, *, hidden: Collection[int], together: bool = False) -> list[Whereabouts]:
        """One row for each line and unit, or for each unit."""
        closed = self._families_in(hidden)
        asked: defaultdict[tuple[int | None, str], list[OfPermit]] = defaultdict(list)
        for source, unit in self._came:
            if source.permit == permit:
                asked[None if together else source.line, unit].append(source)
        return [
            self._row(line, unit, sources, closed)
            for (line, unit), sources in sorted(asked.items(), key=_in_order)
        ]

    def _families_in(self, places: Collection[int]) -> set[int]:
        """Lots of which some ever stood in these places, with all that share animals with them."""
        ends = self._traced.ends.values()
        return {self._traced.family[end.lot_id] for end in ends if end.place_id in places}

    def _row(self, line: int | None, unit: str, sources: list[OfPermit], closed: set[int]) -> Whereabouts:
        if any(self._families[source] & closed for source in sources):
            return Whereabouts(line, unit, 0, _NOTHING, {}, hidden=True)
        return Whereabouts(
            line,
            unit,
            sum(self._came[source, unit] for source in sources),
            self._shares.bounds(sources, [(fate, unit) for fate in ALIVE]),
            {fate: self._shares.bounds(sources, [(fate, unit)]) for fate in FATES},
        )


_NOTHING = Bounds(0, 0, 0.0)


def _in_order(row: tuple[tuple[int | None, str], object]) -> tuple[bool, int, str]:
    (line, unit), _ = row
    return line is None, line or 0, unit
