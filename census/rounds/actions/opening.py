"""Opens a census: numbered sheets, and their lines from what the book holds."""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime, tzinfo
from itertools import count

from django.db import transaction
from django.db.models import Max

from inventory.book.models import Lot, Period, Place, PlaceKind
from inventory.book.rules.days import day_in_words
from inventory.book.rules.happened import end_of_day
from inventory.names.models import Taxon
from inventory.people.models import Person

from ..models import Census, Line, Sheet
from ..models.census import EVERY_CLASS
from ..queries.holdings import holdings, is_counted, newcomers
from ..queries.keepers import keepers_of
from ..queries.planned_lines import Planned, coverage, list_order, planned_lines, presence_of_before
from ..rules.who import DECIDES
from ..rules.words import CensusState, LineKind, SheetForm, SheetState
from .allowed import require
from .moving import running
from .refused import CensusRefused


@transaction.atomic
def open_census(
    *,
    period: Period,
    places: Sequence[Place],
    by: Person,
    now: datetime,
    zone: tzinfo,
    code: str = "",
    classes: str = EVERY_CLASS,
    keepers_count: bool = False,
) -> Census:
    """Makes the census of ``period`` with one sheet for each of ``places``, in their order.

    ``classes`` are those that it counts; what has no class (egg cases) is counted always.
    ``keepers_count`` names those who keep the places as counters of their sheets, as a suggestion: others
    may be named until the sheet is issued.

    A sheet covers its place, the places inside it that have no sheet of their own, and the other
    places of its joined set. A place held by others gets a letter instead of a sheet. Lines are
    what the book holds at ``now``; presence lines are those of the census before. The number of
    queries does not depend on places or lots. Raises :class:`CensusRefused`.
    """
    require(by, DECIDES, "open a census")
    code = code or _free_code(period)
    _refuse_opening(period, places, code, classes, now=now, zone=zone)
    census = Census.objects.create(
        code=code,
        period=period,
        cutoff=end_of_day(period.ends_on, zone),
        classes="".join(sorted(classes)),
        opened_at=now,
        opened_by=by,
    )
    covered = coverage(places)
    planned = planned_lines(holdings(before=now), [place for group in covered for place in group])
    planned += presence_of_before(census, [place for group in covered for place in group], planned)
    planned = [plan for plan in planned if is_counted(plan.count_class, census.classes)]
    sheets = make_sheets(census, [group[0] for group in covered])
    write_lines(sheets, covered, planned)
    if keepers_count:
        _name_keepers(sheets, covered, now.astimezone(zone).date())
    return census


def census_code(period: Period) -> str:
    """``CS-26Q3`` for the period ``2026 Q3``."""
    return "CS-" + period.code.replace(" ", "")[2:]


def _free_code(period: Period) -> str:
    """That of the period; with a number behind it where a census that was given up has it: ``CS-26Q3-2``."""
    code = census_code(period)
    taken = set(Census.objects.filter(code__startswith=code).values_list("code", flat=True))
    given_up = Census.objects.filter(period=period, state=CensusState.ABANDONED.value).exists()
    if code not in taken or not given_up:
        return code
    return next(free for k in count(2) if (free := f"{code}-{k}") not in taken)


@transaction.atomic
def add_line(
    *,
    sheet: Sheet,
    kind: LineKind,
    by: Person,
    now: datetime,
    taxon: Taxon | None = None,
    written_name: str = "",
    place: Place | None = None,
    lots: Iterable[Lot] = (),
    unit: str = "animal",
    count_class: str = "",
    note: str = "",
) -> Line:
    """Adds a line to a sheet: a class D taxon, a lot that came after printing, a loan in a letter."""
    require(by, DECIDES, "add a line to a sheet")
    chosen = tuple(lots)
    place = place or sheet.place
    key = ""
    if taxon is not None:
        key = Planned(place, kind, taxon, unit, count_class, chosen).joined_key
    running(sheet.census)
    last = sheet.lines.aggregate(last=Max("number"))["last"] or 0
    line = Line.objects.create(
        sheet=sheet,
        number=last + 1,
        place=place,
        kind=kind.value,
        taxon=taxon,
        written_name=written_name,
        unit=unit,
        count_class=count_class,
        joined_key=key,
        note=note,
        added_at=now,
        added_by=by,
    )
    line.lots.set(chosen)
    return line


@transaction.atomic
def list_newcomers(*, sheet: Sheet, by: Person, now: datetime) -> list[Line]:
    """Adds a line for all that the book holds at the cut-off in the places of a sheet and no line counts.

    What a late move or a late arrival brought there after the sheet was made.
    """
    require(by, DECIDES, "add a line to a sheet")
    places = Place.objects.filter(pk__in={sheet.place_id, *sheet.lines.values_list("place", flat=True)})
    planned = planned_lines(newcomers(sheet), list(places))
    return [
        add_line(
            sheet=sheet,
            kind=plan.kind,
            by=by,
            now=now,
            taxon=plan.taxon,
            place=plan.place,
            lots=plan.lots,
            unit=plan.unit,
            count_class=plan.count_class,
        )
        for plan in sorted(planned, key=list_order)
    ]


def _name_keepers(sheets: Sequence[Sheet], covered: Sequence[Sequence[Place]], today: date) -> None:
    """Those who keep the places of a sheet are named as its counters; nobody counts a letter."""
    keepers = keepers_of([place for group in covered for place in group], today=today)
    named = Sheet.counters.through
    of_place = {group[0].pk: {pk for place in group for pk in keepers[place.pk]} for group in covered}
    named.objects.bulk_create(
        named(sheet_id=sheet.pk, person_id=person)
        for sheet in sheets
        if sheet.form == SheetForm.SHEET
        for person in sorted(of_place[sheet.place_id])
    )


def _refuse_opening(
    period: Period, places: Sequence[Place], code: str, classes: str, *, now: datetime, zone: tzinfo
) -> None:
    problems = []
    closed = period.versions.filter(closed_at__lte=now).last()
    if closed is not None:
        problems.append(
            f"{closed} is closed: what came late is told on the page of the period, where it is restated."
        )
    if period.starts_on > now.astimezone(zone).date():
        problems.append(
            f"The period {period.code} begins on {day_in_words(period.starts_on)}. Sheets list what the book "
            "holds on the day on which a census is opened: open it in the last weeks of its period."
        )
    running = Census.objects.filter(period=period).exclude(state=CensusState.ABANDONED).first()
    if running:
        problems.append(f"The period {period.code} has its census {running.code} ({running.state}).")
    elif Census.objects.filter(code=code).exists():
        problems.append(f"There is a census {code} already; give another code.")
    if not classes or set(classes) - set(EVERY_CLASS):
        problems.append(f"Choose the classes to be counted: any of {', '.join(EVERY_CLASS)}.")
    if not places:
        problems.append("Name at least one place to count.")
    problems += [
        f"{place.code} holds feed, which is never stock." for place in places if place.kind == PlaceKind.FEED
    ]
    if problems:
        raise CensusRefused(*problems)


def make_sheets(census: Census, places: Sequence[Place]) -> list[Sheet]:
    """A sheet for each place, in their order, numbered on from those that the census has. Not issued."""
    numbers = _last_numbers(census)
    sheets = []
    for place in places:
        form = SheetForm.LETTER if place.off_site else SheetForm.SHEET
        numbers[form] += 1
        number = f"{numbers[form]:02d}" if form is SheetForm.SHEET else f"L{numbers[form]}"
        sheets.append(
            Sheet(
                census=census,
                number=f"{census.code}-{number}",
                place=place,
                form=form.value,
                state=SheetState.NOT_ISSUED.value,
            )
        )
    Sheet.objects.bulk_create(sheets)
    made = [sheet.number for sheet in sheets]
    return list(Sheet.objects.filter(census=census, number__in=made).order_by("pk"))


def _last_numbers(census: Census) -> dict[SheetForm, int]:
    """The highest number given so far; of a sheet that was replaced, ``-07B``, it is 7."""
    last = {SheetForm.SHEET: 0, SheetForm.LETTER: 0}
    for form, number in Sheet.objects.filter(census=census).values_list("form", "number"):
        digits = re.search(r"(\d+)[A-Z]?$", number)
        if digits:
            last[SheetForm(form)] = max(last[SheetForm(form)], int(digits[1]))
    return last


def write_lines(
    sheets: Sequence[Sheet], covered: Sequence[Sequence[Place]], planned: Sequence[Planned]
) -> None:
    """The lines of new sheets; ``covered`` has the places of each, its own first."""
    by_place: dict[int, list[Planned]] = defaultdict(list)
    for plan in planned:
        by_place[plan.place.pk].append(plan)
    sheet_of_place = {sheet.place_id: sheet for sheet in sheets}
    lines: list[Line] = []
    links: list[tuple[Line, Planned]] = []
    for group in covered:
        sheet = sheet_of_place[group[0].pk]
        listed = [plan for place in group for plan in by_place[place.pk]]
        # Presence lines stand last on a sheet; the rest by name, the parts of a joined set together.
        listed.sort(key=list_order)
        for number, plan in enumerate(listed, start=1):
            line = Line(
                sheet=sheet,
                number=number,
                place=plan.place,
                kind=plan.kind.value,
                taxon=plan.taxon,
                unit=plan.unit,
                count_class=plan.count_class,
                joined_key=plan.joined_key,
            )
            lines.append(line)
            links.append((line, plan))
    Line.objects.bulk_create(lines)
    numbered = {
        (sheet_id, number): pk
        for pk, sheet_id, number in Line.objects.filter(sheet__in=sheets).values_list(
            "pk", "sheet_id", "number"
        )
    }
    of_lots = Line.lots.through
    of_lots.objects.bulk_create(
        of_lots(line_id=numbered[line.sheet_id, line.number], lot_id=lot.pk)
        for line, plan in links
        for lot in plan.lots
    )
