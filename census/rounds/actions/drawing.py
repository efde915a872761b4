"""Draws by lot: lines that agree to be counted again, and the sample test before signing."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from inventory.book.models import Lot, Place
from inventory.book.queries.quantities import Point, held_at
from inventory.people.models import Person

from ..models import Census, Count, Draw, DrawnLine, Line, SampleResult
from ..queries.draws import draws_of, newest_sample, sample_doubles
from ..queries.reading import present, read_census
from ..queries.settings import settings_of
from ..rules.drawing import drawn, drawn_again, recounts_to_draw, sheets_to_draw
from ..rules.sampling import FLOOR_TO_LIST, is_right
from ..rules.settings import CensusSettings
from ..rules.states import SHEETS_REPLACED
from ..rules.who import DECIDES, SAMPLES
from ..rules.words import CensusState, Drawn, LineKind, LineState, SheetState
from ..rules.written import read_whole
from .allowed import require
from .moving import running
from .refused import CensusRefused

SHEET, CLASS_A, LIST_TO_FLOOR = "sheet", "class A", "list to floor"


@transaction.atomic
def draw_recounts(*, census: Census, by: Person, now: datetime, seed: str) -> Draw:
    """Draws the lines that agree and are counted again all the same; once in a census.

    Only lines counted once: another person counts them, and does not learn why.
    """
    require(by, DECIDES, "draw lines to be counted again")
    census = running(census)
    settings = settings_of(census)
    there = draws_of(census, Drawn.RECOUNT).first()
    if there is not None:
        return there
    if census.state in (CensusState.PLANNED, CensusState.ISSUED, CensusState.COUNTING):
        raise CensusRefused(f"The census {census.code} is {census.state}; compare the counts first.")
    agreeing = {
        str(row.line): row
        for row in read_census(census)
        if row.state is LineState.AGREES and row.measured and all(set(p.counts) == {1} for p in row.parts)
    }
    if not agreeing:
        raise CensusRefused("No line with one count agrees with the book: there is nothing to draw from.")
    names = drawn(seed, agreeing, recounts_to_draw(len(agreeing), settings))
    draw = Draw.objects.create(census=census, what=Drawn.RECOUNT.value, seed=seed, drawn_at=now, drawn_by=by)
    lines = [part.line for name in names for part in agreeing[name].parts]
    _keep(draw, [("recount", line) for line in lines], [])
    return draw


@transaction.atomic
def draw_sample(*, census: Census, by: Person, now: datetime, seed: str, inspection: bool = False) -> Draw:
    """Draws the sample test: lines of drawn sheets, all of class A, list to floor, floor to list.

    ``inspection``: an inspector's own test, of lines and animals only. A sample before signing
    that is not finished is answered again instead of a new one.
    """
    require(by, SAMPLES if inspection else DECIDES, "draw a sample")
    settings = settings_of(census)
    if not inspection:
        census = running(census)
        unfinished = newest_sample(census)
        if unfinished is not None and not unfinished.done:
            return unfinished.draw
    lines = _countable(census)
    if not lines:
        raise CensusRefused("No sheet has been handed in: there is nothing to draw from.")
    doubled = not inspection and sample_doubles(census)
    what = Drawn.INSPECTION if inspection else Drawn.SAMPLE
    draw = Draw.objects.create(
        census=census, what=what.value, seed=seed, drawn_at=now, drawn_by=by, doubled=doubled
    )
    chosen = [] if inspection else _of_sheets(lines, seed, settings, doubled=doubled)
    taken = {line.pk for _, line in chosen}
    if not inspection:
        chosen += [(CLASS_A, line) for line in lines if line.count_class == "A" and line.pk not in taken]
        taken = {line.pk for _, line in chosen}
    rest = {str(line): line for line in lines if line.pk not in taken}
    names = drawn(f"{seed}/list", rest, settings.sample_list_to_floor * (2 if doubled else 1))
    chosen += [(LIST_TO_FLOOR, rest[name]) for name in names]
    places = {line.place.code: line.place for line in lines}
    floor = drawn_again(f"{seed}/floor", places, settings.sample_floor_to_list * (2 if doubled else 1))
    _keep(draw, chosen, [places[code] for code in floor])
    return draw


@transaction.atomic
def record_sample(
    *,
    drawn_line: DrawnLine,
    found: str,
    by: Person,
    now: datetime,
    counted_at: datetime | None = None,
    on_list: bool = False,
    note: str = "",
) -> SampleResult:
    """Writes down what was found for one drawn line. It is kept; what was wrong is settled on its line.

    For a line: the number found, compared with the book at that moment by the rule of its class.
    From floor to list: the animal found, and whether the list has it (``on_list``).
    """
    require(by, SAMPLES, "write down a sample")
    counted_at = counted_at or now
    held = DrawnLine.objects.select_related("line__sheet__census", "draw__census").get(pk=drawn_line.pk)
    if hasattr(held, "result"):
        raise CensusRefused(f"Number {held.number} has its result: {held.result.found}.")
    if counted_at > now:
        raise CensusRefused("The count moment lies in the future.")
    if not found.strip():
        raise CensusRefused("Write what was found; zero is a number.")
    book: int | None = None
    right = on_list
    if held.line is not None:
        if Count.objects.filter(line=held.line, counter=by).exists():
            raise CensusRefused(f"{by.name} counted {held.line}; another person tests it.")
        try:
            number = read_whole(found)
        except ValueError as error:
            raise CensusRefused(str(error)) from error
        lots = list(held.line.lots.all())
        book = _book(lots, held.line, counted_at)
        right = is_right(held.line.count_class, book, number or 0, settings_of(held.draw.census))
    return SampleResult.objects.create(
        drawn=held,
        found=found.strip()[:200],
        book=book,
        right=right,
        counted_at=counted_at,
        counted_by=by,
        typed_at=now,
        note=note[:300],
    )


def _countable(census: Census) -> list[Line]:
    """Lines with a number to test, of sheets that are in and not replaced."""
    replaced = [state.value for state in SHEETS_REPLACED]
    return list(
        Line.objects.filter(
            sheet__census=census,
            sheet__state__in=[SheetState.HANDED_IN.value, SheetState.ACCEPTED.value],
            kind__in=[LineKind.GROUP.value, LineKind.INDIVIDUALS.value],
            counts__isnull=False,
        )
        .exclude(sheet__state__in=replaced)
        .select_related("sheet", "place")
        .order_by("sheet__number", "number")
        .distinct()
    )


def _of_sheets(
    lines: Sequence[Line], seed: str, settings: CensusSettings, *, doubled: bool
) -> list[tuple[str, Line]]:
    by_sheet: dict[str, dict[str, Line]] = {}
    for line in lines:
        by_sheet.setdefault(line.sheet.number, {})[str(line)] = line
    numbers = drawn(
        f"{seed}/sheets", by_sheet, sheets_to_draw(len(by_sheet), doubled=doubled, settings=settings)
    )
    return [
        (SHEET, by_sheet[number][name])
        for number in numbers
        for name in drawn(f"{seed}/{number}", by_sheet[number], settings.sample_lines_per_sheet)
    ]


def _keep(draw: Draw, chosen: Sequence[tuple[str, Line]], floor: Sequence[Place]) -> None:
    rows = [
        DrawnLine(draw=draw, number=n, part=part, line=line, place_id=line.place_id)
        for n, (part, line) in enumerate(chosen, start=1)
    ]
    rows += [
        DrawnLine(draw=draw, number=n, part=FLOOR_TO_LIST, place=place)
        for n, place in enumerate(floor, start=len(rows) + 1)
    ]
    DrawnLine.objects.bulk_create(rows)


def _book(lots: Sequence[Lot], line: Line, counted_at: datetime) -> int:
    points = [Point(lot.pk, line.place_id, counted_at + timedelta(minutes=1)) for lot in lots]
    return sum(present(held) for held in held_at(points))
