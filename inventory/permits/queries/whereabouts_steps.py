"""The ledger's flows as steps of source shares: where each arrival came from, and what events say of it."""

from collections import defaultdict
from collections.abc import Collection, Hashable, Sequence
from datetime import datetime
from typing import NamedTuple

from inventory.book.queries.quantities import Traced, TracedFlow
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.kinds import ARRIVALS, EventKind
from inventory.book.rules.sources import label_of_arrival

from ..models import Sighting, Take
from ..rules.shares import Seen, Step
from .takes import TakeRead


class OfPermit(NamedTuple):
    """A source: what came in by one line of one permit. ``line`` None: no slip says which.

    ``take`` is the slip's row where each is to be told apart, else None.
    """

    permit: str
    line: int | None
    take: int | None = None


class Slips:
    """What the slips say of the events that they point to. One event may serve several of them.

    ``by_take`` makes each row of a slip a source of its own.
    """

    def __init__(self, takes: Sequence[TakeRead], *, by_take: bool = False) -> None:
        self._by_take = by_take
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
        if not named:
            return None
        take = named[0].pk if self._by_take else None
        return OfPermit(named[0].permit.number, named[0].line_number, take)


class Sources:
    """Of each flow its source: a line of a permit, else the label of its arrival.

    ``sightings`` of marked animals are evidence beside that of events. ``said`` is what each step was
    made of, in the same order.
    """

    def __init__(self, traced: Traced, slips: Slips, sightings: Sequence[Sighting] = ()) -> None:
        self._traced = traced
        self._slips = slips
        self._sightings = sightings
        self.said: list[TracedFlow | Sighting] = []
        # How many came, and among which lots they can be.
        self.came: defaultdict[tuple[OfPermit, str], int] = defaultdict(int)
        self.families: defaultdict[OfPermit, set[int]] = defaultdict(set)
        for flow in traced.flows:
            source = self.of(flow)
            if isinstance(source, OfPermit):
                end = traced.ends[flow.to_cell]
                self.came[source, end.unit] += flow.n
                self.families[source].add(traced.family[end.lot_id])

    def steps(self) -> list[Step | Seen]:
        """All flows in their order, and after those of its moment each sighting that says whose it is."""
        steps: list[Step | Seen] = []
        self.said = []
        waiting = list(reversed(self._sightings))

        def see(until: datetime | None) -> None:
            while waiting and (until is None or waiting[-1].effective_at < until):
                sighting = waiting.pop()
                family = self._traced.family[sighting.cell.lot_id]
                source = self._of_permit(sighting.permit.number, family, sighting.line_number)
                if source is not None:
                    steps.append(Seen(sighting.cell_id, sighting.n, source))
                    self.said.append(sighting)

        for flow in self._traced.flows:
            see(flow.effective_at)
            steps.append(
                Step(None, flow.to_cell, flow.n, self.of(flow))
                if flow.kind in ARRIVALS
                else Step(flow.from_cell, flow.to_cell, flow.n, self._evidence(flow))
            )
            self.said.append(flow)
        see(None)
        return steps

    def of(self, flow: TracedFlow) -> Hashable:
        """Where the animals of an arrival came from; None of any other flow."""
        if flow.kind not in ARRIVALS:
            return None
        if of_slip := self._slips.source(flow.event_id, self._traced.ends[flow.to_cell]):
            return of_slip
        if flow.kind == EventKind.TAKEN and flow.permit_number:
            return OfPermit(flow.permit_number, None)
        return label_of_arrival(flow.kind, party=flow.party, permit=flow.permit_number)

    def _evidence(self, flow: TracedFlow) -> OfPermit | None:
        """A death, a move or another event that names the permit says whose the animals were.

        Where animals of several lines or slips of it stand together, it does not say by which they came.
        """
        if not flow.permit_number:
            return None
        family = self._traced.family[self._traced.ends[flow.from_cell].lot_id]
        return self._of_permit(flow.permit_number, family, None)

    def _of_permit(self, permit: str, family: int, line: int | None) -> OfPermit | None:
        """The only source of the permit, or of its line, among lots that share animals."""
        of_permit = [
            source
            for source, families in self.families.items()
            if source.permit == permit and family in families and line in (None, source.line)
        ]
        return of_permit[0] if len(of_permit) == 1 else None
