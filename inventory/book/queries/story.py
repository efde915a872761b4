"""What happened: the events of a lot, of a place, of the house, told with both times.

Constant numbers of queries: the light part (moments and numbers) is read for the whole lot, the
rest only for the events of one page.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from ..models import Account, Cell, Event, Flow, Lot, Place, Standing
from ..rules import ranges, words


@dataclass(frozen=True, slots=True)
class End:
    """One end of a flow. ``place`` is a code; an outside cause has ``cause`` instead."""

    accession: str
    place: str
    cause: str
    sex: str
    stage: str
    missing: bool

    @property
    def where(self) -> str:
        """ "E07", "E07, missing" or "died"."""
        if self.cause:
            return words.KIND_WORDS.get(self.cause, self.cause)
        return f"{self.place}, missing" if self.missing else self.place

    @property
    def who(self) -> str:
        """ "female, juvenile"."""
        return ", ".join(part for part in (self.sex if self.sex != "unknown" else "", self.stage) if part)


@dataclass(frozen=True, slots=True)
class FlowTold:
    """``n`` animals from one end to the other."""

    n: int
    origin: End
    target: End
    hidden: bool = False
    """The reader is counting where these animals live, and is not told how many they were."""

    @property
    def regrouped(self) -> bool:
        """Sex, stage or lot differ between the ends."""
        a, b = self.origin, self.target
        return (a.accession, a.sex, a.stage) != (b.accession, b.sex, b.stage)


@dataclass(frozen=True, slots=True)
class EventTold:
    """An event with its flows. ``reversed_by`` is the number of the event that took it back."""

    event: Event
    flows: tuple[FlowTold, ...]
    reversed_by: int | None

    @property
    def total(self) -> int:
        return sum(flow.n for flow in self.flows)

    @property
    def hidden(self) -> bool:
        return any(flow.hidden for flow in self.flows)

    @property
    def about(self) -> str:
        """ "about 40, between 30 and 60", when bounds were stated for the number and may be told."""
        stated = getattr(self.event, "stated_range", None)
        if stated is None or self.hidden:
            return ""
        return ranges.in_words(words.whole(self.total), stated.bounds)


@dataclass(frozen=True, slots=True)
class StoryLine:
    """An event in the life of one lot: what it changed, and what the lot held after it."""

    told: EventTold
    change: int
    balance: int


@dataclass(frozen=True, slots=True)
class Step:
    """An event's effect on what a lot holds, before it is told."""

    event_id: int
    change: int
    balance: int


def steps_of(lot: Lot) -> list[Step]:
    """Every event that touches ``lot``, in the order in which the book counts them. Two queries."""
    inside = dict(Cell.objects.filter(lot=lot).values_list("id", "inside"))
    flows = (
        Flow.objects.filter(Q(from_cell__in=inside) | Q(to_cell__in=inside))
        .values_list("effective_at", "event_id", "from_cell_id", "to_cell_id", "n")
        .order_by("effective_at", "event_id", "id")
    )
    changes: dict[int, int] = {}
    for _moment, event_id, from_cell, to_cell, n in flows:
        change = n * (bool(inside.get(to_cell)) - bool(inside.get(from_cell)))
        changes[event_id] = changes.get(event_id, 0) + change
    steps = []
    balance = 0
    for event_id, change in changes.items():
        balance += change
        steps.append(Step(event_id, change, balance))
    return steps


def tell_steps(steps: Sequence[Step]) -> list[StoryLine]:
    """The steps of one page with their events, in the same order. Three queries."""
    told = tell([step.event_id for step in steps])
    return [StoryLine(told[step.event_id], step.change, step.balance) for step in steps]


def tell(event_ids: Collection[int], *, hidden: Collection[int] = ()) -> dict[int, EventTold]:
    """The events and their flows, by number. Three queries.

    ``hidden``: ids of places whose numbers the reader may not see. All flows of a lot that ever was there are
    marked, wherever they went, for what came less what left is what is there; one query more.
    """
    events = Event.objects.select_related("entered_by", "approved_by", "stated_range").in_bulk(
        list(event_ids)
    )
    # Neither joined nor ordered: hardly any event is reversed, so SQLite's planner thinks little of
    # the index and reads all events, once for each row of a join.
    reversals = dict(Event.objects.filter(reverses__in=events).order_by().values_list("reverses_id", "id"))
    flows: dict[int, list[FlowTold]] = defaultdict(list)
    ends = [
        f"{end}_cell__{field}"
        for end in ("from", "to")
        for field in ("lot__accession", "account__place__code", "account__cause", "sex", "stage", "standing")
    ]
    unseen = _lots_of(hidden)
    rows = Flow.objects.filter(event_id__in=events).order_by("id").values_list("event_id", "n", *ends)
    for event_id, n, *cells in rows:
        origin, target = _end(cells[:6]), _end(cells[6:])
        not_told = not unseen.isdisjoint((origin.accession, target.accession))
        flows[event_id].append(FlowTold(n, origin, target, not_told))
    return {pk: EventTold(event, tuple(flows[pk]), reversals.get(pk)) for pk, event in events.items()}


def _lots_of(places: Collection[int]) -> set[str]:
    """Accession numbers of the lots that are, or ever were, in one of the places."""
    if not places:
        return set()
    cells = Cell.objects.filter(inside=True, account__place__in=places)
    return set(cells.values_list("lot__accession", flat=True))


def at_place(place: Place, *, since: datetime, limit: int, hidden: Collection[int] = ()) -> list[EventTold]:
    """The newest events that touch ``place``, of those that happened after ``since``. Five queries."""
    cells = Cell.objects.filter(account__in=Account.objects.filter(place=place)).values("id")
    found: set[tuple[datetime, int]] = set()
    for end in ("from_cell__in", "to_cell__in"):
        flows = Flow.objects.filter(**{end: cells}, effective_at__gte=since)
        found.update(
            flows.order_by("-effective_at", "-event_id").values_list("effective_at", "event_id")[:limit]
        )
    newest = [event_id for _, event_id in sorted(found, reverse=True)[:limit]]
    return in_order(tell(newest, hidden=hidden), newest)


def last_entries(limit: int, *, hidden: Collection[int] = ()) -> list[EventTold]:
    """The events that were entered last, newest first. Four queries."""
    newest = list(Event.objects.order_by("-id").values_list("id", flat=True)[:limit])
    return in_order(tell(newest, hidden=hidden), newest)


def in_order(told: dict[int, EventTold], ids: Iterable[int]) -> list[EventTold]:
    """``told`` in the order of ``ids``."""
    return [told[pk] for pk in ids]


def before(event: Event) -> Event | None:
    """The event whose hash this one carries on; none for the first."""
    return Event.objects.filter(hash=event.previous_hash).first()


def _end(row: list[str]) -> End:
    accession, place, cause, sex, stage, standing = row
    return End(accession, place or "", cause, sex, stage, standing == Standing.MISSING)
