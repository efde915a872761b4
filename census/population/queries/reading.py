"""What the pages of the populations need from the book, in a constant number of queries."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from enum import StrEnum

from census.change.rules.arithmetic import rows_of_cells
from inventory.book.models import Lot, Place
from inventory.book.queries.quantities import DatedFlow, cell_balances, cell_ends, flows_of_lots
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.happened import end_of_day, start_of_day
from inventory.book.rules.hunters import HUNTERS
from inventory.names.models import Taxon
from inventory.names.rules.italics import Italics

from ..rules.asked import Asked
from ..rules.course import DayFlow, Key, RowCourse, course_of, moves_between


class Split(StrEnum):
    """What one row is."""

    TAXON = "taxon"
    PLACE = "place"
    BOTH = "both"


# One row of all animals in the scope that are not asked about: what goes there was regrouped, not lent.
_OTHERS = Key(-1, -1)
_KEYS: dict[Split, Callable[[CellEnd], Key]] = {
    Split.TAXON: lambda cell: Key(cell.taxon_id, 0),
    Split.PLACE: lambda cell: Key(0, cell.place_id or 0),
    Split.BOTH: lambda cell: Key(cell.taxon_id, cell.place_id or 0),
}


@dataclass(frozen=True, slots=True)
class Names:
    """How taxa and places are called."""

    taxa: dict[int, str]
    places: dict[int, str]

    def of(self, key: Key) -> str:
        """ "Gobius niger, E1"."""
        parts = (self.taxa.get(key.taxon_id, ""), self.places.get(key.place_id, ""))
        return ", ".join(part for part in parts if part)

    def italics(self, keys: Iterable[Key]) -> Italics:
        """Finds the names of the rows' taxa in what is said of them."""
        return Italics({self.taxa.get(key.taxon_id, "") for key in keys})


@dataclass(frozen=True, slots=True)
class Course:
    """The rows with their courses, and what was read to make them."""

    rows: dict[Key, RowCourse]
    names: Names
    flows: list[DayFlow]
    ends: dict[int, CellEnd]
    row_of: dict[int, Key | None]

    def moves(self) -> dict[tuple[int, int], int]:
        """Moves from place to place, of the animals asked about."""
        asked = {cell: None if row == _OTHERS else row for cell, row in self.row_of.items()}
        return dict(moves_between(self.flows, ends=self.ends, rows=asked))

    def in_order(self) -> list[tuple[Key, RowCourse]]:
        """Rows by name."""
        return sorted(self.rows.items(), key=lambda row: self.names.of(row[0]))


def lots_of(asked: Asked) -> dict[int, int]:
    """The lots asked about with their taxa. One query."""
    lots = Lot.objects.filter(unit=asked.unit)
    if asked.taxon is not None:
        lots = lots.filter(taxon_id=asked.taxon)
    elif asked.family:
        lots = lots.filter(taxon__family=asked.family)
    return dict(lots.values_list("pk", "taxon_id"))


def hunting_lots(unit: str) -> dict[int, int]:
    """The lots of kinds that hunt others with them, with their taxa. One query."""
    lots = Lot.objects.filter(unit=unit, taxon__family__in=HUNTERS)
    return dict(lots.values_list("pk", "taxon_id"))


def names_of() -> Names:
    """Two queries."""
    return Names(
        dict(Taxon.objects.values_list("pk", "scientific_name")),
        dict(Place.objects.values_list("pk", "code")),
    )


def read_course(
    asked: Asked,
    split: Split,
    *,
    zone: tzinfo,
    first: date | None = None,
    lots: dict[int, int] | None = None,
) -> Course:
    """Rows of taxa, of places or of both, from ``first`` (or the first day asked) to the last day.

    ``lots``: others than those asked about, with their taxa. Seven queries at most, however many rows.
    With a place asked for, rows are told apart by it, so that a move shows as one, and only those of the
    place are given.
    """
    if asked.place is not None and split is Split.TAXON:
        split = Split.BOTH
    lots = lots_of(asked) if lots is None else lots
    since = start_of_day(first or asked.first_day, zone)
    before = end_of_day(asked.last_day, zone)
    opening = cell_balances(before=since, known_at=asked.known_at)
    dated = flows_of_lots(lots, since=since, before=before, known_at=asked.known_at)
    ends = cell_ends({*opening, *(cell for flow in dated for cell in (flow.from_cell, flow.to_cell))})
    rows = rows_of_cells(ends, _KEYS[split], asked.scope)
    rows = {cell: row if row is None or ends[cell].lot_id in lots else _OTHERS for cell, row in rows.items()}
    flows = by_day(dated, zone)
    courses = course_of(flows, opening=opening, ends=ends, rows=rows, scope=asked.scope)
    courses.pop(_OTHERS, None)
    if asked.place is not None:
        courses = {key: course for key, course in courses.items() if key.place_id == asked.place}
    return Course(courses, names_of(), flows, ends, rows)


def by_day(flows: Iterable[DatedFlow], zone: tzinfo) -> list[DayFlow]:
    """Moments as days of the house; each moment is turned once, for many flows share one."""
    days: dict[datetime, int] = {}
    found = []
    for flow in flows:
        day = days.get(flow.effective_at)
        if day is None:
            day = days[flow.effective_at] = flow.effective_at.astimezone(zone).date().toordinal()
        found.append(DayFlow(day, flow.from_cell, flow.to_cell, flow.n, flow.reversal))
    return found
