"""Marked animals that were seen, from a sheet: the same checks as on the page of the lot."""

from collections.abc import Sequence

from inventory.book.actions.load.guests import GuestLoad, GuestRow
from inventory.book.models import Cell, Lot

from ...models import Permit, Sighting
from ...queries.sightings import cells_called
from ...queries.whereabouts_pool import lot_sources
from ...rules.sheets import SIGHTINGS
from ..sightings import SightingRefused, read_sighting
from .loading import Loading

# What the action calls a column, by what the sheet does.
_COLUMNS = {"cell": "place", "n": "number", "line_number": "line"}

# Cell, permit, mark, moment, number and line: what makes two sightings the same.
_Key = tuple[int, int, str, str, int, int | None]


def write_sightings(rows: Sequence[GuestRow], to: GuestLoad) -> None:
    """Keeps what was seen. What is here already stays as it is, also where somebody has withdrawn it.

    The number of queries grows with lots and with people, not with rows.
    """
    loading = Loading(SIGHTINGS, to)
    named = _Named(rows)
    among: dict[int, list[str]] = {}
    seen = []
    for row in rows:
        try:
            cell = named.cell(row)
            permit = named.permit(row)
            if _key(row, cell, permit) in named.here:
                loading.tally.already_there += 1
                continue
            if cell.lot_id not in among:
                among[cell.lot_id] = lot_sources(cell.lot, before=to.now).permits
            sighting = read_sighting(
                cell=cell,
                permit=permit,
                mark=row.values["mark"],
                happened=row.values["happened"],
                n=row.values.get("number", 1),
                line_number=row.values.get("line"),
                by=loading.by(row),
                now=to.now,
                zone=to.zone,
                among=among[cell.lot_id],
            )
        except SightingRefused as refused:
            loading.refuse(row, _COLUMNS.get(refused.column, refused.column), str(refused))
        else:
            named.here.add(_key(row, cell, permit))
            seen.append(sighting)
            loading.tally.new += 1
    Sighting.objects.bulk_create(seen)


class _Named:
    """What the rows name, read once for all of them. Four queries."""

    def __init__(self, rows: Sequence[GuestRow]) -> None:
        numbers = {row.values["permit"] for row in rows}
        lots = {row.values["accession"] for row in rows}
        self._permits = {one.number: one for one in Permit.objects.filter(number__in=numbers)}
        self._lots = set(Lot.objects.filter(accession__in=lots).values_list("accession", flat=True))
        self._cells = cells_called(lots, {row.values["place"] for row in rows})
        told = Sighting.objects.filter(cell__in=[cell.pk for cells in self._cells.values() for cell in cells])
        self.here: set[_Key] = set(
            told.values_list("cell_id", "permit_id", "mark", "happened", "n", "line_number")
        )

    def permit(self, row: GuestRow) -> Permit:
        """Under which it came. Raises :class:`SightingRefused`."""
        permit = self._permits.get(row.values["permit"])
        if permit is None:
            raise SightingRefused("permit", f"there is no permit {row.values['permit']!r}")
        return permit

    def cell(self, row: GuestRow) -> Cell:
        """Where it was seen. Raises :class:`SightingRefused`."""
        lot, place = row.values["accession"], row.values["place"]
        sex, stage = row.values.get("sex", ""), row.values.get("stage", "")
        there = self._cells.get((lot, place), ())
        cells = [one for one in there if (not sex or one.sex == sex) and (not stage or one.stage == stage)]
        if not cells:
            if lot not in self._lots:
                raise SightingRefused("accession", f"there is no lot {lot!r}")
            stated = " of this sex and stage" if sex or stage else ""
            raise SightingRefused(
                "place", f"the book never had animals of {lot}{stated} in a place {place!r}"
            )
        one_sex = len({cell.sex for cell in cells}) == 1
        # Who says no stage means the animals of which none is known, where there are such.
        meant = [cell for cell in cells if not cell.stage] if one_sex and len(cells) > 1 else cells
        if len(meant) != 1:
            choices = "; ".join(f"{cell.sex} {cell.stage}".strip() for cell in cells)
            raise SightingRefused("stage" if one_sex else "sex", f"say which it was: {choices}")
        return meant[0]


def _key(row: GuestRow, cell: Cell, permit: Permit) -> _Key:
    stated = row.values
    mark, number = stated["mark"].strip(), stated.get("number", 1)
    return cell.pk, permit.pk, mark, str(stated["happened"]), number, stated.get("line")
