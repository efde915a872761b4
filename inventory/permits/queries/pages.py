"""What the pages of permits show besides the account: the list, one trip, the cases."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, tzinfo

from django.db.models import QuerySet
from django.urls import reverse

from inventory.book.history import Subject
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import Case, Per, Permit, Take, Trip
from ..rules.accounts import Used
from ..rules.bars import Bar, bar_of
from ..rules.checks import days_left
from ..rules.whereabouts import ALIVE, Fate, Whereabouts
from .accounts import LineAccount, PermitAccount, accounts, events_are_shown, events_hidden
from .takes import TakeRead, current_takes, trails_of, trip_chains
from .whereabouts import PermitWhereabouts


def page_of_permit(subject: Subject) -> str:
    """The address of a permit's page by its number; empty where nobody has entered it. One query."""
    pk = Permit.objects.filter(number=subject.key).values_list("pk", flat=True).first()
    return reverse("permit", args=[pk]) if pk else ""


@dataclass(frozen=True, slots=True)
class PermitRow:
    """One permit in the list. ``days`` are left, today counted; negative: expired so long ago."""

    account: PermitAccount
    days: int
    open_cases: int

    @property
    def over(self) -> int:
        """How many of its lines are over their limit."""
        return len(self.account.over)


def permit_rows(*, on: date, zone: tzinfo, hidden: Collection[int] = ()) -> list[PermitRow]:
    """All permits, those that expire last first. A constant number of queries."""
    permits = list(Permit.objects.select_related("authority"))
    found = accounts(permits, as_of=on, zone=zone, hidden=hidden)
    cases: dict[int, int] = {}
    for permit_id in Case.objects.filter(closed_at=None).values_list("permit_id", flat=True):
        cases[permit_id] = cases.get(permit_id, 0) + 1
    rows = [
        PermitRow(one, days_left(one.read.version.valid_until, on), cases.get(pk, 0))
        for pk, one in found.items()
    ]
    return sorted(rows, key=lambda row: (-row.days, row.account.permit.number))


@dataclass(frozen=True, slots=True)
class WhereRow:
    """Of the animals that entered the stock by a line: how many, alive, and each fate in the page's order."""

    row: Whereabouts
    texts: Sequence[tuple[str, bool]]


@dataclass(frozen=True, slots=True)
class LineShown:
    """One line of the account, with its bar, and where its animals are: a row for each unit of the stock,
    none when nothing was kept."""

    row: LineAccount
    bar: Bar | None
    where: Sequence[WhereRow] = ()


def lines_shown(account: PermitAccount, where: PermitWhereabouts | None = None) -> list[LineShown]:
    """The lines of an account, each with its bar and, where it is asked for, its whereabouts."""
    placed: dict[int | None, list[WhereRow]] = {}
    known = {row.number for row in account.lines}
    for one in where.rows if where else ():
        told = WhereRow(one, one.texts(in_layout(where.fates) if where else ()))
        # What no line covers any more stands with what never had one.
        placed.setdefault(one.line if one.line in known else None, []).append(told)
    shown = []
    for row in account.lines:
        limit = row.line.limit if row.line else None
        counts = account.read.limit(row.line).counts_let_go if row.line else False
        held = row.line is not None and row.line.per == Per.HELD
        # A bar of all trips against the limit of one would say the wrong thing.
        per_trip = row.line is not None and row.line.per == Per.TRIP
        bar = (
            None
            if row.hidden or per_trip or limit is None
            else bar_of(row.used, limit, counts_let_go=counts, held=held)
        )
        shown.append(LineShown(row, bar, placed.pop(row.number, [])))
    for rows in placed.values():
        unsaid = LineAccount(None, "no slip says by which line", (), "", "", Used())
        shown.append(LineShown(unsaid, None, rows))
    return shown


def in_layout(fates: Sequence[Fate]) -> list[Fate]:
    """The fates as the layout of a permit has them: what ended first, what lives last."""
    return [fate for fate in fates if fate not in ALIVE] + [fate for fate in fates if fate in ALIVE]


@dataclass(frozen=True, slots=True)
class TakeShown:
    """One take on the page of its trip. ``hidden``: its numbers would give a count away."""

    read: TakeRead
    trail: Sequence[Take]
    words: str
    hidden: bool


@dataclass(frozen=True, slots=True)
class TripShown:
    """One trip as it stands, its earlier statements, its takes and its cases."""

    trip: Trip
    people: tuple[str, ...]
    earlier: Sequence[Trip]
    takes: Sequence[TakeShown]
    cases: Sequence[Case]


def read_trip(trip: Trip, *, words: dict[tuple[int, int], str], hidden: Collection[int] = ()) -> TripShown:
    """All that is known of one trip; ``words`` are those of the lines. A constant number of queries."""
    chains = trip_chains()
    ids = chains.all_of(trip.pk)
    rows = list(
        Trip.objects.select_related("permit", "entered_by")
        .prefetch_related("people__person")
        .filter(pk__in=ids)
        .order_by("id")
    )
    reads = current_takes(trips=[trip.pk])
    trails = trails_of([read.take for read in reads])
    secret = events_hidden(hidden)
    takes = [
        TakeShown(
            read,
            trails.get(read.take.pk, []),
            words.get((read.take.permit_id, read.take.line_number or 0), ""),
            not events_are_shown(read, secret),
        )
        for read in reads
    ]
    raised = cases().filter(trip__in=ids)
    people = tuple(row.person.name for row in rows[-1].people.all())
    return TripShown(rows[-1], people, rows[:-1], takes, list(raised))


def open_cases() -> QuerySet[Case]:
    """Cases that nobody has closed, oldest first."""
    return cases().filter(closed_at=None)


def cases() -> QuerySet[Case]:
    """All cases with what a list shows of them."""
    shown = Case.objects.select_related("owner", "permit", "trip", "take__taxon", "closed_by")
    return shown.prefetch_related("notes").order_by("opened_at", "id")


def together_shown(where: PermitWhereabouts) -> list[WhereRow]:
    """All lines of a permit together, one row for each unit; none where there is one line only."""
    if len(where.rows) < 2:
        return []
    return [WhereRow(row, row.texts(in_layout(where.fates))) for row in where.together]


def recent_trips(permit: Permit, limit: int) -> list[Trip]:
    """The last trips with takes of a permit, or made under it, newest first, as they stand."""
    found = Trip.objects.filter(takes__permit=permit) | Trip.objects.filter(permit=permit)
    chains = trip_chains()
    ids = {chains.newest(pk) for pk in found.values_list("id", flat=True).distinct()}
    return list(Trip.objects.filter(pk__in=ids).order_by("-ends_on", "-id")[:limit])


def approvers(*, besides: Person) -> list[str]:
    """People who may approve a correction: never who makes it."""
    roles = [Role.CURATOR.value, Role.REGISTRAR.value]
    people = Person.objects.filter(user__groups__name__in=roles, left_on=None).exclude(pk=besides.pk)
    return list(people.order_by("name").values_list("name", flat=True).distinct())
