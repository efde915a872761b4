"""Trade in listed species in a year: what is stated, and which events still want a statement."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, tzinfo
from decimal import Decimal

from inventory.book.models import Cell, Event, Flow
from inventory.book.rules.happened import end_of_day, start_of_day
from inventory.book.rules.kinds import EventKind
from inventory.names.models import Taxon
from inventory.names.queries.lists import listings_of
from inventory.names.rules.lists import How, ListKind

from ..models import TradeFacts
from ..rules.cites import Moved, ReportRow, Trade, appendix_in, report

# Events by which animals may cross a border. What is taken may be an introduction from the sea.
CROSSING = (
    *(EventKind.TAKEN, EventKind.RECEIVED, EventKind.LOAN_IN, EventKind.BACK_FROM_LOAN),
    *(EventKind.SENT, EventKind.LOAN_OUT, EventKind.GIVEN_BACK),
)
INWARD = frozenset({EventKind.TAKEN, EventKind.RECEIVED, EventKind.LOAN_IN, EventKind.BACK_FROM_LOAN})


@dataclass(frozen=True, slots=True)
class Crossing:
    """Animals of one listed kind in one event; ``facts`` none: nobody has said what it was.

    ``n`` by the book, none where the reader counts such animals now.
    """

    event: Event
    taxon: Taxon
    appendix: str
    unit: str
    n: int | None
    facts: TradeFacts | None

    @property
    def hidden(self) -> bool:
        """The reader is not told the number."""
        return self.n is None

    @property
    def inward(self) -> bool:
        """They came."""
        return EventKind(self.event.kind) in INWARD


@dataclass(frozen=True, slots=True)
class YearOfTrade:
    """A year: the table, and the events behind it."""

    year: int
    rows: list[ReportRow]
    crossings: list[Crossing]

    @property
    def open(self) -> list[Crossing]:
        """Events of which nobody has said whether a border was crossed."""
        return [one for one in self.crossings if one.facts is None]

    @property
    def hidden(self) -> bool:
        """Some numbers are not told to the reader."""
        return any(one.hidden for one in self.crossings)


def appendices(taxa: Collection[Taxon]) -> dict[int, str]:
    """The appendix of each taxon that the lists of trade name, by its number: the strictest of several."""
    found = {}
    for number, listings in listings_of(taxa).items():
        said = {
            appendix_in(one.entry.annotation)
            for one in listings
            if one.entry.of_list.kind == ListKind.LEGAL and one.reason.how is not How.POSSIBLE
        } - {""}
        if said:
            found[number] = min(said, key=len)
    return found


def year_of_trade(year: int, *, zone: tzinfo, hidden: Collection[int] = ()) -> YearOfTrade:
    """A calendar year. A constant number of queries."""
    start, before = start_of_day(date(year, 1, 1), zone), end_of_day(date(year, 12, 31), zone)
    events = Event.objects.filter(
        kind__in=CROSSING, effective_at__gte=start, effective_at__lt=before, reversed_by=None
    )
    crossings = list(_crossings(events.values("pk"), hidden))
    return YearOfTrade(year, report(_moved(crossings)), crossings)


def years_of_trade(this_year: int, *, zone: tzinfo) -> range:
    """The years that the book tells of, newest first; of an empty book this one. One query."""
    first = Event.objects.order_by("effective_at").values_list("effective_at", flat=True).first()
    began = min(first.astimezone(zone).year, this_year) if first else this_year
    return range(this_year, began - 1, -1)


def crossings_of(event: Event, *, hidden: Collection[int] = ()) -> list[Crossing]:
    """The listed kinds of animal in one event; none where it cannot cross a border or was taken back."""
    chosen = Event.objects.filter(pk=event.pk, kind__in=CROSSING, reversed_by=None)
    return list(_crossings(chosen.values("pk"), hidden))


def _crossings(events: object, hidden: Collection[int]) -> Iterable[Crossing]:
    flows = Flow.objects.filter(event__in=events, reversal=False).select_related(
        "event", "to_cell__lot__taxon", "from_cell__lot__taxon"
    )
    sums: defaultdict[tuple[int, int, str], int] = defaultdict(int)
    taxa: dict[int, Taxon] = {}
    about: dict[int, Event] = {}
    for flow in flows.order_by("event__effective_at", "event_id", "id"):
        lot = flow.to_cell.lot
        sums[flow.event_id, lot.taxon_id, lot.unit] += flow.n
        taxa[lot.taxon_id], about[flow.event_id] = lot.taxon, flow.event
    listed = appendices(list(taxa.values()))
    secret = _counted_now(hidden)
    stated = {
        (one.event_id, one.taxon_id): one
        for one in TradeFacts.objects.filter(event__in=about).select_related("entered_by").order_by("id")
    }
    for (event, taxon, unit), n in sums.items():
        if taxon in listed:
            yield Crossing(
                event=about[event],
                taxon=taxa[taxon],
                appendix=listed[taxon],
                unit=unit,
                n=None if taxon in secret else n,
                facts=stated.get((event, taxon)),
            )


def _counted_now(hidden: Collection[int]) -> set[int]:
    """Kinds of animal that stand where the reader counts: a sum of theirs would give a count away."""
    if not hidden:
        return set()
    cells = Cell.objects.filter(account__place__in=hidden, inside=True)
    return set(cells.order_by().values_list("lot__taxon", flat=True).distinct())


def _moved(crossings: Iterable[Crossing]) -> Iterable[Moved]:
    told = set()
    for one in crossings:
        facts = one.facts
        # Two lots of one kind in different units are one statement.
        if facts is None or facts.pk in told:
            continue
        told.add(facts.pk)
        yield Moved(
            name=one.taxon.scientific_name,
            appendix=one.appendix,
            trade=Trade(facts.trade),
            country=facts.country,
            origin=facts.origin,
            source=facts.source,
            purpose=facts.purpose,
            term=facts.term,
            unit=facts.unit,
            quantity=None if one.hidden else Decimal(facts.quantity or 0),
            papers=facts.papers,
        )
