"""Of the animals that were taken under a permit and kept: where are they now, or what became of them?

Read from the ledger alone, as of a day, as known at a moment, through splits, joins, moves and loans. For
pools the least, the most and the even share (`inventory.permits.rules.shares`).
"""

from collections import defaultdict
from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo

from inventory.book.models import Event
from inventory.book.queries.quantities import Traced, traced_flows
from inventory.book.rules.happened import end_of_day
from inventory.book.rules.kinds import EventKind

from ..models import Permit, PermitLine, Sighting
from ..rules.shares import Bounds, Shares
from ..rules.whereabouts import ALIVE, FATES, GIVEN_BACK, Fate, Whereabouts, fate_of
from .sightings import sightings_of
from .takes import current_takes
from .whereabouts_steps import OfPermit, Slips, Sources


@dataclass(slots=True)
class PermitWhereabouts:
    """One permit: a row for each line and unit, and in ``together`` one for each unit.

    ``set_aside`` are events that say whose the animals were, against all that is booked before, and
    ``sightings_set_aside`` marked animals that cannot have been seen. ``widened``: a pool was so entangled
    that ranges can be wider than they need be, never narrower.
    """

    permit: Permit
    as_of: date
    rows: list[Whereabouts] = field(default_factory=list)
    together: list[Whereabouts] = field(default_factory=list)
    set_aside: list[Event] = field(default_factory=list)
    sightings_set_aside: list[Sighting] = field(default_factory=list)
    widened: bool = False
    words: dict[int, str] = field(default_factory=dict)

    @property
    def fates(self) -> list[Fate]:
        """The columns: all but the one that only borrowed animals meet, unless some did."""
        told = (row for row in self.rows if not row.hidden)
        given_back = any(row.by_fate[GIVEN_BACK].most for row in told)
        return [fate for fate in FATES if given_back or fate != GIVEN_BACK]

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
    slips = Slips(current_takes(known_at=known_at))
    network = _network(permits, slips, before=end_of_day(as_of, zone), known_at=known_at)
    events = Event.objects.in_bulk(network.set_aside)
    words: defaultdict[int, dict[int, str]] = defaultdict(dict)
    lines = PermitLine.objects.filter(version__permit__in=permits).order_by("version__number")
    for permit_id, number, said in lines.values_list("version__permit_id", "number", "words"):
        words[permit_id][number] = said
    found = {}
    for permit in permits:
        of_permit = PermitWhereabouts(permit, as_of, words=words[permit.pk])
        of_permit.rows = network.rows(permit.number, hidden=hidden)
        of_permit.together = network.rows(permit.number, hidden=hidden, together=True)
        of_permit.set_aside = [event for event in events.values() if event.permit_number == permit.number]
        of_permit.widened = network.widened
        of_permit.sightings_set_aside = [one for one in network.not_seen if one.permit_id == permit.pk]
        found[permit.pk] = of_permit
    return found


def whereabouts_of_takes(
    permit: Permit,
    *,
    as_of: date,
    zone: tzinfo,
    known_at: datetime | None = None,
    hidden: Collection[int] = (),
) -> dict[int, list[Whereabouts]]:
    """The same for each take of a permit, by its id: a row for each unit. A constant number of queries.

    Evidence that names the permit alone does not tell its takes apart, so that where several stand in one
    pool, ranges are wider than those of the whole line.
    """
    slips = Slips(current_takes(known_at=known_at), by_take=True)
    network = _network([permit], slips, before=end_of_day(as_of, zone), known_at=known_at)
    return network.rows_of_takes(permit.number, hidden=hidden)


def _network(
    permits: Sequence[Permit], slips: Slips, *, before: datetime, known_at: datetime | None
) -> "_Network":
    numbers = {permit.number for permit in permits}
    taken_into = _lots_taken_into(numbers, slips.events_of(numbers))
    traced = traced_flows(taken_into, before=before, known_at=known_at)
    seen = sightings_of(list(traced.family), before=before, known_at=known_at)
    return _Network(traced, slips, seen)


def _lots_taken_into(numbers: Collection[str], events: Collection[int]) -> set[int]:
    """Lots into which something was taken under these permits, or by these events."""
    taken = Event.objects.filter(kind=EventKind.TAKEN).order_by()
    asked = taken.filter(permit_number__in=numbers) | taken.filter(pk__in=events)
    return {lot for lot in asked.values_list("flows__to_cell__lot", flat=True) if lot is not None}


class _Network:
    """The steps of all lots that share animals with those asked for, and the answers out of them.

    A place is a fate and a unit: lots that share animals count in one unit, so none is mixed.
    """

    def __init__(self, traced: Traced, slips: Slips, sightings: Sequence[Sighting]) -> None:
        self._traced = traced
        self._sources = Sources(traced, slips, sightings)
        self._shares = Shares(self._sources.steps(), self._place)
        self.widened = self._shares.widened
        against = [self._sources.said[number] for number in self._shares.set_aside]
        self.set_aside = {said.event_id for said in against if not isinstance(said, Sighting)}
        self.not_seen = [said for said in against if isinstance(said, Sighting)]

    def _place(self, cell: Hashable) -> tuple[Fate, str]:
        end = self._traced.ends[cell]  # type: ignore[index]
        return fate_of(end), end.unit

    def rows(self, permit: str, *, hidden: Collection[int], together: bool = False) -> list[Whereabouts]:
        """One row for each line and unit, or for each unit."""
        closed = self._families_in(hidden)
        asked: defaultdict[tuple[int | None, str], list[OfPermit]] = defaultdict(list)
        for source, unit in self._sources.came:
            if source.permit == permit:
                asked[None if together else source.line, unit].append(source)
        return [
            self._row(line, unit, sources, closed)
            for (line, unit), sources in sorted(asked.items(), key=_in_order)
        ]

    def rows_of_takes(self, permit: str, *, hidden: Collection[int]) -> dict[int, list[Whereabouts]]:
        """Rows by take, one for each unit."""
        closed = self._families_in(hidden)
        found: defaultdict[int, list[Whereabouts]] = defaultdict(list)
        for source, unit in sorted(self._sources.came, key=repr):
            if source.permit == permit and source.take is not None:
                found[source.take].append(self._row(source.line, unit, [source], closed))
        return dict(found)

    def _families_in(self, places: Collection[int]) -> set[int]:
        """Lots of which some ever stood in these places, with all that share animals with them."""
        ends = self._traced.ends.values()
        return {self._traced.family[end.lot_id] for end in ends if end.place_id in places}

    def _row(self, line: int | None, unit: str, sources: list[OfPermit], closed: set[int]) -> Whereabouts:
        if any(self._sources.families[source] & closed for source in sources):
            return Whereabouts(line, unit, 0, _NOTHING, {}, hidden=True)
        return Whereabouts(
            line,
            unit,
            sum(self._sources.came[source, unit] for source in sources),
            self._shares.bounds(sources, [(fate, unit) for fate in ALIVE]),
            {fate: self._shares.bounds(sources, [(fate, unit)]) for fate in FATES},
        )


_NOTHING = Bounds(0, 0, 0.0)


def _in_order(row: tuple[tuple[int | None, str], object]) -> tuple[bool, int, str]:
    (line, unit), _ = row
    return line is None, line or 0, unit
