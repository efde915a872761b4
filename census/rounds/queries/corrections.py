"""What waits for approval, each with its old and its new side and all that it would change."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from inventory.book.models import Flow, PeriodVersion
from inventory.book.rules.happened import parse_happened
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import ApprovalAnswer, ApprovalAsked, Census, Line
from ..rules.approval import barred_from_approving
from ..rules.effects import Figure, change_of_house, in_words
from ..rules.settling import Settling
from ..rules.stating import read_back
from ..rules.words import ApprovalRole
from .holdings import Holding, holdings, lots_by_id
from .reading import LineRead, Row, read_rows
from .settings import settings_of
from .waiting import still_waiting


@dataclass(slots=True)
class Correction:
    """One statement that waits. ``figures``: old and new of the line, its tank, its kind in the house.

    ``permits``: under which its animals came; ``closed``: closed periods that it is dated in, with the
    version that stands. ``moved``: book or count differ from what the asker saw. ``answer`` is the role in
    which the reader answers; ``barred`` why they may not.
    """

    asked: ApprovalAsked
    settling: Settling
    figures: list[Figure]
    permits: list[str] = field(default_factory=list)
    closed: list[str] = field(default_factory=list)
    given: list[ApprovalAnswer] = field(default_factory=list)
    moved: str = ""
    answer: str = ""
    barred: str = ""

    @property
    def since(self) -> datetime:
        return self.asked.asked_at

    @property
    def words(self) -> str:
        return in_words(self.settling)

    @property
    def name(self) -> str:
        taxon = self.asked.line.taxon
        return taxon.scientific_name if taxon else self.asked.line.written_name

    @property
    def wanted(self) -> str:
        """Whose names are still to come."""
        have = {one.role for one in self.given}
        roles = [role for role in _roles(self.asked) if role.value not in have]
        return " and the ".join(role.value.replace("_", " ") for role in roles)


def corrections(person: Person, roles: Collection[Role], *, now: datetime) -> list[Correction]:
    """Everything that waits, oldest first, as ``person`` meets it.

    As many queries for many as for one in each census that has some; a house has one such census.
    """
    related = ("line__sheet__census__period", "line__place", "line__taxon", "asked_by", "other_line__sheet")
    waiting = list(
        still_waiting()
        .select_related(*related, "other_line__place", "other_line__taxon")
        .prefetch_related("answers__by")
    )
    if not waiting:
        return []
    rows = _rows(waiting)
    held = _Held(holdings(before=now))
    permits = _permits(rows)
    closed = _closed()
    found = []
    for asked in waiting:
        row, part = rows[asked.line_id]
        settling = read_back(asked.stated)
        found.append(
            Correction(
                asked=asked,
                settling=settling,
                figures=_figures(asked, settling, rows, held),
                permits=sorted({number for lot in part.lots for number in permits[lot.pk]}),
                closed=[words for first, last, words in closed if first <= _day(settling, asked) <= last],
                given=list(asked.answers.all()),
                moved=_moved(asked, row),
            )
        )
        _who(found[-1], row, person, roles)
    return found


Rows = Mapping[int, tuple[Row, LineRead]]


def _rows(waiting: Iterable[ApprovalAsked]) -> Rows:
    """The rows of all lines that are spoken of, with those that they are joined to."""
    by_census: dict[Census, list[Line]] = defaultdict(list)
    for asked in waiting:
        by_census[asked.line.sheet.census] += [asked.line, *([asked.other_line] if asked.other_line else [])]
    found: dict[int, tuple[Row, LineRead]] = {}
    for census, lines in by_census.items():
        chosen = Line.objects.filter(pk__in=[line.pk for line in lines])
        keys = [line.joined_key for line in lines if line.joined_key]
        if keys:
            chosen = chosen | Line.objects.filter(joined_key__in=keys)
        for row in read_rows(census, chosen, settings=settings_of(census)):
            found |= {part.line.pk: (row, part) for part in row.parts}
    return found


class _Held:
    """What the book holds now, by tank and by kind, each unit by itself."""

    def __init__(self, found: Sequence[Holding]) -> None:
        lots = lots_by_id(one.lot_id for one in found)
        self.tank: dict[tuple[int, str], int] = defaultdict(int)
        self.kind: dict[tuple[int, str], int] = defaultdict(int)
        for one in found:
            self.tank[one.place_id, one.unit] += one.total
            self.kind[lots[one.lot_id].taxon_id, one.unit] += one.total


def _figures(asked: ApprovalAsked, settling: Settling, rows: Rows, held: _Held) -> list[Figure]:
    line, other = asked.line, asked.other_line
    figures = _line_figures(line, rows, asked.n)
    if other is not None:
        figures += _line_figures(other, rows, -asked.n)
    same_tank = other is not None and other.place_id == line.place_id
    figures.append(_tank(line, held, 0 if same_tank else asked.n))
    if other is not None and not same_tank:
        figures.append(_tank(other, held, -asked.n))
    house = change_of_house(settling)
    figures += _kind(line, held, house)
    if other is not None and other.taxon_id != line.taxon_id:
        figures += _kind(other, held, -house)
    return figures


def _line_figures(line: Line, rows: Rows, n: int) -> list[Figure]:
    row, part = rows[line.pk]
    if part.latest is None:
        return []
    book = part.present(part.latest.round)
    return [Figure(f"{row.name} in {line.place.code}, book at the count", book, book + n)]


def _tank(line: Line, held: _Held, n: int) -> Figure:
    now = held.tank[line.place_id, line.unit]
    return Figure(f"all of {line.place.code} today ({line.unit})", now, now + n)


def _kind(line: Line, held: _Held, n: int) -> list[Figure]:
    if line.taxon is None:
        return []
    now = held.kind[line.taxon.pk, line.unit]
    return [Figure(f"{line.taxon.scientific_name} in the house today", now, now + n)]


def _permits(rows: Rows) -> Mapping[int, set[str]]:
    """Permits and owners of the lots, by the lot's id. One query."""
    lots = {lot.pk: lot for _, part in rows.values() for lot in part.lots}
    found: dict[int, set[str]] = defaultdict(set)
    for lot in lots.values():
        if lot.owner:
            found[lot.pk].add(f"owned by {lot.owner}")
    came = Flow.objects.filter(to_cell__lot__in=lots, to_cell__inside=True, from_cell__inside=False)
    came = came.exclude(event__permit_number="")
    for lot_id, number in came.values_list("to_cell__lot", "event__permit_number").distinct():
        found[lot_id].add(number)
    return found


def _closed() -> list[tuple[date, date, str]]:
    """First and last day of each closed period, with its newest version in words. One query."""
    newest: dict[int, PeriodVersion] = {}
    for version in PeriodVersion.objects.select_related("period").order_by("period__starts_on", "number"):
        newest[version.period_id] = version
    return [(one.period.starts_on, one.period.ends_on, str(one)) for one in newest.values()]


def _day(settling: Settling, asked: ApprovalAsked) -> date:
    """The day that it is dated by; what has no day of its own counts at the line's count."""
    if settling.happened:
        return parse_happened(settling.happened).day
    return asked.line.sheet.census.period.ends_on


def _moved(asked: ApprovalAsked, row: Row) -> str:
    book, count = (row.latest.book, row.latest.count) if row.latest else (None, None)
    told = []
    if book != asked.book:
        told.append(f"the book has moved from {asked.book} to {book}")
    if count != asked.counted:
        told.append(f"the count is {count}, and was {asked.counted}")
    return "; ".join(told)


def _roles(asked: ApprovalAsked) -> list[ApprovalRole]:
    wanted = ((asked.curator, ApprovalRole.CURATOR), (asked.permit_officer, ApprovalRole.PERMIT_OFFICER))
    return [role for needed, role in wanted if needed]


def _who(one: Correction, row: Row, person: Person, roles: Collection[Role]) -> None:
    """In which role the reader answers, or why not."""
    have = {answer.role for answer in one.given}
    open_ones = [role for role in _roles(one.asked) if role.value not in have and Role(role.value) in roles]
    if not open_ones:
        return
    counts = [c for part in row.parts for c in (*part.counts.values(), *part.typed_before)]
    why = barred_from_approving(
        person.pk,
        counted={c.counter_id for c in counts if c.counter_id},
        typed={c.typed_by_id for c in counts},
        entered=one.asked.asked_by_id,
    )
    if any(answer.by_id == person.pk for answer in one.given):
        why = "gave one of the names; the other is another person's"
    if why:
        one.barred = f"You {why}: another person answers."
    else:
        one.answer = open_ones[0].value.replace("_", " ")
