"""How far a census is, and how well book and counts agree: what the board and the curator see."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef

from ..models import Census, Count, Decision, Line, Sheet
from ..rules.accuracy import Accuracy, Differences, accuracy_by_class, gains_and_losses, total
from ..rules.roll import roll
from ..rules.settings import CensusSettings
from ..rules.states import SHEETS_IN
from ..rules.words import MEASURED_UNITS, How, LineKind, SheetForm, SheetState, Verdict
from .first_counts import first_as_compared
from .hands import Again, counted_again
from .reading import Row, present
from .settings import settings_of


@dataclass(frozen=True, slots=True)
class SheetProgress:
    """One sheet on the board. ``days_out``: whole days since it was issued, while it is out.

    ``counted`` of ``lines`` are those of which a number is asked; letters of class D are due once a year, and
    told apart. ``late`` says since when it should have been in; empty while there is time, or when it is in.
    ``again``: who counts again, while it is out for a recount.
    """

    sheet: Sheet
    counters: str
    counted: int
    lines: int
    days_out: int | None
    late: str = ""
    again: str = ""

    @property
    def uncounted(self) -> int:
        return self.lines - self.counted


@dataclass(frozen=True, slots=True)
class AccuracyRow:
    """Record accuracy of one class ("all" is the last row), first count and latest."""

    count_class: str
    lines: int
    first: Accuracy
    latest: Accuracy


def sheets_of(census: Census, *, now: datetime) -> list[SheetProgress]:
    """Every sheet of the census, with the lines counted on it. Five queries."""
    sheets = list(census.sheets.select_related("place").prefetch_related("counters").order_by("number"))
    lines: Counter[int] = Counter()
    counted: Counter[int] = Counter()
    # Of a letter without lines nobody is waited for, see sheets_out.
    waited = {sheet.pk for sheet in sheets if sheet.form != SheetForm.LETTER}
    of_census = Line.objects.filter(sheet__census=census)
    for sheet_id, kind, is_counted in of_census.annotate(
        is_counted=Exists(Count.objects.filter(line=OuterRef("pk")))
    ).values_list("sheet_id", "kind", "is_counted"):
        waited.add(sheet_id)
        lines[sheet_id] += kind != LineKind.PRESENCE
        counted[sheet_id] += is_counted and kind != LineKind.PRESENCE
    again = counted_again(sheets)
    ends = census.cutoff + timedelta(days=settings_of(census).count_window_days_after)
    return [
        SheetProgress(
            late=_late(sheet, again.get(sheet.pk), ends, now) if sheet.pk in waited else "",
            again=again[sheet.pk].names if sheet.pk in again else "",
            sheet=sheet,
            counters=", ".join(person.name for person in sheet.counters.all()),
            counted=counted[sheet.pk],
            lines=lines[sheet.pk],
            days_out=_days_out(sheet, now),
        )
        for sheet in sheets
    ]


def late_sheets(sheets: Iterable[SheetProgress]) -> list[SheetProgress]:
    """Who is to be chased: the sheets that are late, longest out first."""
    late = [one for one in sheets if one.late]
    return sorted(late, key=lambda one: (-(one.days_out or 0), one.sheet.number))


def _late(sheet: Sheet, again: Again | None, ends: datetime, now: datetime) -> str:
    if sheet.state in SHEETS_IN:
        return ""
    if sheet.state == SheetState.RECOUNT_ASKED:
        return "recount is overdue" if again and again.due < now else ""
    if ends < now:
        return "the days of counting are over"
    if sheet.planned_at is not None and sheet.planned_at + timedelta(days=1) < now:
        return "was to be counted a day ago or more"
    return ""


def accuracy_table(rows: Iterable[Row], settings: CensusSettings) -> list[AccuracyRow]:
    """Accuracy by class of the measured rows: A, B, C, and all. The first counts are a fact of their day;
    the latest ones follow the book as known now. One query."""
    measured = [row for row in rows if row.measured]
    compared = first_as_compared(measured, settings)
    firsts = accuracy_by_class((row.line.count_class, first) for row, first in compared)
    latests = accuracy_by_class((row.line.count_class, row.latest) for row in measured if row.latest)
    sizes = Counter(row.line.count_class for row in measured)
    table = [
        AccuracyRow(count_class, sizes[count_class], firsts[count_class], latests[count_class])
        for count_class in firsts
    ]
    return [*table, AccuracyRow("all", len(measured), total(firsts), total(latests))]


def differences_by_unit(rows: Iterable[Row]) -> dict[str, Differences]:
    """Losses and gains of all counted lines against the book, each unit by itself, every line apart."""
    found: dict[str, list[int]] = {unit: [] for unit in MEASURED_UNITS}
    for row in rows:
        if row.line.unit not in found or row.line.kind == LineKind.PRESENCE:
            continue
        for part in row.parts:
            count = part.latest
            if count is not None and count.value is not None:
                found[row.line.unit].append(count.value - part.present(count.round))
    return {unit: gains_and_losses(numbers) for unit, numbers in found.items()}


@dataclass(frozen=True, slots=True)
class Adjusted:
    """What the decisions of a census did to the book, losses and gains apart, by unit."""

    unit: str
    gains: int
    losses: int
    unexplained_gains: int
    unexplained_losses: int


def adjusted(rows: Sequence[Row], unknown: Iterable[str]) -> list[Adjusted]:
    """Adjustments of the census by unit; ``unknown`` names the reasons that explain nothing."""
    names = frozenset(unknown)
    by_unit: dict[str, list[Decision]] = {}
    for row in rows:
        for part in row.parts:
            done = [d for d in part.decisions if d.how == How.ADJUSTMENT]
            by_unit.setdefault(row.line.unit, []).extend(done)
    return [
        Adjusted(
            unit,
            gains=sum(d.n for d in made if d.n > 0),
            losses=-sum(d.n for d in made if d.n < 0),
            unexplained_gains=sum(d.n for d in made if d.n > 0 and d.reason in names),
            unexplained_losses=-sum(d.n for d in made if d.n < 0 and d.reason in names),
        )
        for unit, made in by_unit.items()
        if made
    ]


def closing_supported(row: Row) -> int | None:
    """What the latest counts of the row say the period closes with; ``None`` when not counted.

    Nor does a minimum below the book say it, or what was written in and is no lot of the book.
    """
    if row.latest is not None and row.latest.verdict is Verdict.MINIMUM:
        return None
    if row.line.kind == LineKind.WRITE_IN and not any(part.lots for part in row.parts):
        return None
    closing = 0
    for part in row.parts:
        count = part.latest
        if count is None or count.value is None:
            return None
        closing += roll(
            count.value, book_at_count=part.present(count.round), book_at_end=present(part.at_end)
        )
    return closing


def minimum_counts(rows: Iterable[Row]) -> list[Row]:
    """Rows whose latest count is a minimum below the book: no proof of a loss."""
    return [row for row in rows if row.latest is not None and row.latest.verdict is Verdict.MINIMUM]


def open_queries(rows: Iterable[Row]) -> list[Row]:
    """Rows that are settled by a question which somebody still has to answer."""
    asked = (How.OPEN_QUERY, How.MISSING)
    return [
        row for row in rows if row.decision is not None and row.decision.how in asked and not row.reopened
    ]


def _days_out(sheet: Sheet, now: datetime) -> int | None:
    if sheet.issued_at is None or sheet.handed_in_at is not None:
        return None
    return max(0, (now - sheet.issued_at).days)
