"""What the census asks people to look at: see :mod:`inventory.people.attention`.

Also which numbers are hidden from whom while they count: see :mod:`inventory.book.blind`.
"""

from datetime import datetime, timedelta

from django.db.models import BigIntegerField, F, Q, QuerySet, Value
from django.urls import reverse

from inventory.doors import clock
from inventory.people.attention import Attention, Line
from inventory.people.models import Person
from inventory.people.queries import roles_of

from .attention_told import told
from .models import Census, CountToCome, Sheet
from .models import Line as SheetLine
from .queries.hands import counted_again, with_whom
from .queries.out import sheets_out
from .queries.reading import read_census
from .queries.running import DONE, running, running_censuses
from .queries.searching import asks
from .queries.settings import settings_in_use
from .queries.to_come import LAPSES, still_to_come
from .rules.states import SHEETS_OPEN
from .rules.who import COMPARES, DECIDES
from .rules.words import CensusState, How, SheetState


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Own sheets to count; sheets out and lines to settle for those who may see the differences.

    A constant number of queries for each census that is not done, and of these there is one at a
    time in most houses.
    """
    found = _own_sheets(person)
    roles = roles_of(person.user) if person.user else frozenset()
    found += told(roles, now=now)
    for census in running_censuses():
        found += _sheets_out(census)
        if not roles.isdisjoint(COMPARES):
            found += _to_settle(census)
    return found + _open_queries()


def places_hidden_from(person: Person) -> set[int]:
    """Ids of the places on the sheets that ``person`` counts and has not handed in.

    From the start of the quiet time, where it is said when a sheet is to be counted; else from its
    issue. Also those that they are about to count on the spot, or for a sample. Two queries, one more
    where a count has its moment.
    """
    return _hidden(_counted_by(person, _PLANNED), still_to_come().filter(counter=person))


def places_hidden_from_anybody() -> set[int]:
    """The same of the sheets of all counters: for what several people hold in their hands."""
    named = Q(counters__isnull=False) | Q(lines__recounts__isnull=False)
    return _hidden(_counted(named, _PLANNED), still_to_come())


_NO_SHEET = Value(0, output_field=BigIntegerField())
_PLANNED = Q(state=SheetState.NOT_ISSUED.value, planned_at__isnull=False)


def _hidden(sheets: QuerySet[Sheet], to_come: QuerySet[CountToCome]) -> set[int]:
    columns = ("place_id", "planned_at")
    of_sheets = sheets.order_by().annotate(sheet=F("pk")).values_list("sheet", *columns)
    of_others = to_come.order_by().annotate(sheet=_NO_SHEET).values_list("sheet", *columns)
    rows = list(of_sheets.union(of_others, all=True))
    hidden = {(pk, place) for pk, place, moment in rows if moment is None}
    if len(hidden) < len(rows):
        quiet = timedelta(hours=settings_in_use().quiet_hours_before_count)
        now = clock.now()
        timed = ((pk, place, moment) for pk, place, moment in rows if moment is not None)
        hidden |= {(pk, place) for pk, place, at in timed if at - quiet <= now and (pk or now <= at + LAPSES)}
    lines = SheetLine.objects.filter(sheet__in={pk for pk, _ in hidden})
    return {*(place for _, place in hidden), *lines.values_list("place_id", flat=True)}


def _counted_by(person: Person, also: Q | None = None) -> QuerySet[Sheet]:
    return _counted(Q(counters=person) | Q(lines__recounts__of=person), also)


def _counted(named: Q, also: Q | None = None) -> QuerySet[Sheet]:
    is_out = Q(state__in=[state.value for state in SHEETS_OPEN])
    is_out = is_out | also if also is not None else is_out
    # By number, so that the two joins do not repeat a sheet.
    numbers = Sheet.objects.filter(is_out, named).exclude(census__state__in=DONE).values("pk")
    return Sheet.objects.filter(pk__in=numbers).select_related("place").order_by("number")


def _own_sheets(person: Person) -> list[Attention]:
    counted = list(_counted_by(person))
    again = counted_again(counted)
    # A recount is for another person than the counter of the sheet, who finds no line to count there.
    sheets = [sheet for sheet in counted if sheet.pk not in again or person.pk in again[sheet.pk].people]
    if not sheets:
        return []
    return [
        Attention(
            heading="Your sheets to count",
            total=len(sheets),
            url=reverse("census_list"),
            roles=frozenset(),
            lines=tuple(
                Line(
                    f"{sheet.number}, {sheet.place}: {sheet.state}",
                    reverse("sheet", args=[sheet.number]),
                    places=frozenset({sheet.place_id}),
                )
                for sheet in sheets
            ),
        )
    ]


def _sheets_out(census: Census) -> list[Attention]:
    """The board's business; a house where every sheet is in hears nothing of it."""
    out = sheets_out(census).order_by("number")
    sheets = list(out.select_related("place").prefetch_related("counters"))
    if not sheets:
        return []
    names = with_whom(sheets)
    return [
        Attention(
            heading=f"{census.code} is {census.state}: sheets that are not in",
            total=len(sheets),
            url=reverse("census", args=[census.code]),
            roles=frozenset(DECIDES),
            lines=tuple(
                Line(
                    f"{sheet.number}, {sheet.place}: {sheet.state}",
                    reverse("sheet", args=[sheet.number]),
                    names[sheet.pk],
                    places=frozenset({sheet.place_id}),
                )
                for sheet in sheets
            ),
        )
    ]


def _to_settle(census: Census) -> list[Attention]:
    waiting = [row for row in read_census(census) if row.needs_settling]
    if not waiting:
        return []
    return [
        Attention(
            heading=f"{census.code} is {census.state}: lines to be settled",
            total=len(waiting),
            url=reverse("differences", args=[census.code]),
            roles=frozenset(DECIDES),
            lines=tuple(
                Line(
                    f"{row.place_codes} {row.name}: {row.state.value}",
                    reverse("census_line", args=[row.line.sheet.number, row.line.number]),
                    places=frozenset(part.line.place_id for part in row.parts),
                )
                for row in waiting
            ),
        )
    ]


def _open_queries() -> list[Attention]:
    """Lines of the running censuses and of the newest one that were settled by a question. Two queries.

    No number stands here: who keeps the tank may be counting it.
    """
    carried = Census.objects.exclude(state=CensusState.ABANDONED.value).order_by("-cutoff", "-pk")[:1]
    asked = (
        asks()
        .filter(Q(line__sheet__census__in=running()) | Q(line__sheet__census__in=list(carried)))
        .select_related("line__sheet__census", "line__place", "line__taxon", "owner")
        .order_by("due_on", "pk")
    )
    queries = list(asked)
    if not queries:
        return []
    return [
        Attention(
            heading="Open queries of the census",
            total=len(queries),
            url=reverse("census", args=[queries[0].line.sheet.census.code]),
            roles=frozenset(DECIDES),
            lines=tuple(
                Line(
                    f"{query.line.place.code} {query.line.taxon or query.line.written_name}: "
                    f"{How(query.how).words}" + (f", until {query.due_on}" if query.due_on else ""),
                    reverse("sheet", args=[query.line.sheet.number]),
                    query.owner.name if query.owner else "",
                    places=frozenset({query.line.place_id}),
                )
                for query in queries
            ),
        )
    ]
