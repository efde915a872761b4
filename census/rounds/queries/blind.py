"""A sheet as its counter sees it: the list, and nothing that could give a number away.

Nothing here reads the book or a count, save what the asking person wrote in this round (and, for
the page alone, on which lines others have written), so that page, print and workbook made of it are
blind by construction.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from inventory.book.models import Cell, Lot, Sex
from inventory.people.models import Person

from ..models import Count, Line, Sheet
from ..rules.words import LineKind, SheetForm


@dataclass(frozen=True, slots=True)
class BlindIndividual:
    """One animal of the roll-call."""

    accession: str
    house_name: str
    marks: str

    @property
    def words(self) -> str:
        return ", ".join(part for part in (self.house_name or self.accession, self.marks) if part)


@dataclass(frozen=True, slots=True)
class BlindLine:
    """One line to count. ``mine``: what the asking person wrote for it in this round."""

    number: int
    place: str
    name: str
    common_name: str
    unit: str
    count_class: str
    presence: bool
    individuals: tuple[BlindIndividual, ...]
    marks: str
    note: str
    joined: bool = False
    sexed: bool = False
    """Some of them have a known sex, or may change it: the counter is asked for the sexes."""
    mine: Count | None = None


@dataclass(frozen=True, slots=True)
class BlindSheet:
    """A sheet with the lines to count in one round."""

    number: str
    place: str
    place_name: str
    list_version: str
    windows: int
    letter: bool
    round: int
    counters: tuple[str, ...]
    lines: tuple[BlindLine, ...]

    @property
    def blank_lines(self) -> list[int]:
        """The lines that the asking person has written nothing for, but those that are noted once a year."""
        return [line.number for line in self.lines if line.mine is None and not line.presence]


def blind_sheet(sheet: Sheet, *, round: int = 1, person: Person | None = None) -> BlindSheet:
    """The sheet for counting in ``round``: all lines in the first, those asked again in later ones."""
    return blind_sheets([sheet], round=round, person=person)[0]


def blind_sheets(
    sheets: Iterable[Sheet], *, round: int = 1, person: Person | None = None
) -> list[BlindSheet]:
    """Several sheets for counting; the number of queries does not depend on how many."""
    chosen = {sheet.pk: sheet for sheet in sheets}
    lines = Line.objects.filter(sheet__in=chosen).select_related("place", "taxon")
    # A write-in of somebody else would tell what was found; a recounter gets the printed list only.
    if round > 1:
        lines = lines.filter(Q(recounts__round=round) | _as_second_counter(round, person))
    mine = _mine(chosen, round, person)
    lines = lines.exclude(Q(kind=LineKind.WRITE_IN.value) & ~Q(pk__in=mine) & Q(recounts=None)).distinct()
    lines = lines.prefetch_related(Prefetch("lots", _lots()))
    by_sheet: dict[int, list[BlindLine]] = {pk: [] for pk in chosen}
    for line in lines.order_by("number"):
        by_sheet[line.sheet_id].append(_line(line, mine.get(line.pk)))
    counters: dict[int, list[str]] = {pk: [] for pk in chosen}
    through = Sheet.counters.through.objects.filter(sheet__in=chosen).select_related("person")
    for named in through.order_by("person__name"):
        counters[named.sheet_id].append(named.person.name)
    return [
        BlindSheet(
            number=sheet.number,
            place=sheet.place.code,
            place_name=sheet.place.name,
            list_version=sheet.list_version,
            windows=sheet.place.windows,
            letter=sheet.form == SheetForm.LETTER,
            round=round,
            counters=tuple(counters[pk]),
            lines=tuple(by_sheet[pk]),
        )
        for pk, sheet in chosen.items()
    ]


def _lots() -> QuerySet[Lot]:
    """Lots in the order of a roll-call, each with whether an animal of it ever had a known sex."""
    known = Cell.objects.filter(lot=OuterRef("pk"), inside=True).exclude(sex=Sex.UNKNOWN)
    return Lot.objects.annotate(sexed=Exists(known)).order_by("house_name", "accession")


def counted_by_others(sheet: Sheet, *, round: int, person: Person) -> frozenset[int]:
    """Numbers of the lines for which somebody else wrote something in this round, not what. One query.

    Who goes on with a sheet, or types it, knows by it which boxes are blank on purpose.
    """
    written = Count.objects.filter(line__sheet=sheet, round=round, replaced_by=None)
    others = written.exclude(Q(counter=person) | Q(typed_by=person)).exclude(
        line__kind=LineKind.WRITE_IN.value
    )
    return frozenset(others.values_list("line__number", flat=True))


def counts_second(sheet: Sheet, person: Person) -> bool:
    """True when class A lines wait for ``person`` as the second counter. One query."""
    waiting = Line.objects.filter(_as_second_counter(2, person), sheet=sheet)
    return waiting.exclude(counts__round=2).exists()


def _as_second_counter(round_: int, person: Person | None) -> Q:
    """Class A lines that somebody else counted first, for a counter named on the sheet: no asking needed."""
    if round_ != 2 or person is None:
        return Q(pk__in=[])
    counted = Count.objects.filter(round=1, line__sheet__counters=person).exclude(counter=person)
    return Q(count_class="A", pk__in=counted.values("line"))


def _mine(sheets: Iterable[int], round_: int, person: Person | None) -> dict[int, Count]:
    """What the person counted or typed in this round, by line; nothing for nobody."""
    if person is None:
        return {}
    counts = (
        Count.objects.filter(line__sheet__in=list(sheets), round=round_, replaced_by=None)
        .filter(Q(counter=person) | Q(typed_by=person))
        .select_related("counter")
        .prefetch_related("sightings__lot")
    )
    return {count.line_id: count for count in counts}


def _line(line: Line, mine: Count | None) -> BlindLine:
    taxon = line.taxon
    lots = list(line.lots.all())
    roll_call = line.kind == LineKind.INDIVIDUALS or (
        line.kind == LineKind.LETTER and bool(lots) and all(lot.kind == "individual" for lot in lots)
    )
    individuals = tuple(BlindIndividual(lot.accession, lot.house_name, lot.marks) for lot in lots)
    return BlindLine(
        number=line.number,
        place=line.place.code,
        name=taxon.scientific_name if taxon else line.written_name,
        common_name=taxon.common_name if taxon else "",
        unit=line.unit,
        count_class=line.count_class,
        presence=line.kind == LineKind.PRESENCE,
        individuals=individuals if roll_call else (),
        marks=", ".join(lot.marks for lot in lots if lot.marks) if not roll_call else "",
        note="joined: count all parts in one session" if line.joined_key else "",
        joined=bool(line.joined_key),
        sexed=line.kind == LineKind.GROUP and _asks_for_sexes(line),
        mine=mine,
    )


def _asks_for_sexes(line: Line) -> bool:
    may_change = line.taxon is not None and line.taxon.can_change_sex
    return may_change or any(getattr(lot, "sexed", False) for lot in line.lots.all())
