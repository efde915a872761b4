"""Marked animals that were seen, from a sheet: the same checks as on the page of the lot."""

from collections.abc import Sequence

from inventory.book.actions.load.guests import GuestLoad, GuestRow
from inventory.book.models import Cell, Lot

from ...models import Permit, Sighting
from ...queries.sightings import cells_called
from ...queries.whereabouts_pool import lot_sources
from ...rules.sheets import SIGHTINGS
from ..sightings import SightingRefused, record_sighting
from .loading import Loading

# What the action calls a column, by what the sheet does.
_COLUMNS = {"cell": "place", "n": "number", "line_number": "line"}


def write_sightings(rows: Sequence[GuestRow], to: GuestLoad) -> None:
    """Keeps what was seen. What is here already stays as it is, also where somebody has withdrawn it."""
    loading = Loading(SIGHTINGS, to)
    permits = {
        one.number: one for one in Permit.objects.filter(number__in={r.values["permit"] for r in rows})
    }
    among: dict[int, list[str]] = {}
    for row in rows:
        try:
            cell = _cell(row)
            permit = permits.get(row.values["permit"])
            if permit is None:
                raise SightingRefused("permit", f"there is no permit {row.values['permit']!r}")
            if _is_here(row, cell, permit):
                loading.tally.already_there += 1
                continue
            if cell.lot_id not in among:
                among[cell.lot_id] = lot_sources(cell.lot, before=to.now).permits
            record_sighting(
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
            loading.tally.new += 1


def _is_here(row: GuestRow, cell: Cell, permit: Permit) -> bool:
    return Sighting.objects.filter(
        cell=cell,
        permit=permit,
        mark=row.values["mark"].strip(),
        happened=str(row.values["happened"]),
        n=row.values.get("number", 1),
        line_number=row.values.get("line"),
    ).exists()


def _cell(row: GuestRow) -> Cell:
    """Where it was seen. Raises :class:`SightingRefused`."""
    lot, place = row.values["accession"], row.values["place"]
    cells = cells_called(lot, place, sex=row.values.get("sex", ""), stage=row.values.get("stage", ""))
    if not cells:
        if not Lot.objects.filter(accession=lot).exists():
            raise SightingRefused("accession", f"there is no lot {lot!r}")
        stated = " of this sex and stage" if row.values.get("sex") or row.values.get("stage") else ""
        raise SightingRefused("place", f"the book never had animals of {lot}{stated} in a place {place!r}")
    one_sex = len({cell.sex for cell in cells}) == 1
    # Who says no stage means the animals of which none is known, where there are such.
    meant = [cell for cell in cells if not cell.stage] if one_sex and len(cells) > 1 else cells
    if len(meant) != 1:
        choices = "; ".join(f"{cell.sex} {cell.stage}".strip() for cell in cells)
        raise SightingRefused("stage" if one_sex else "sex", f"say which it was: {choices}")
    return meant[0]
