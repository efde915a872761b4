"""Egg cases and egg masses are lots of their own unit, never in the number of animals."""

from inventory.book.actions.register import register_lots
from inventory.book.models import Cell, Lot, LotKind, Place
from inventory.book.rules.sheets import LotRow

from ..rules.eggs import is_eggs, unit_of


def lot_of_eggs(lot: Lot, place: Place, *, stage: str) -> Lot:
    """The lot of eggs for animals of ``lot`` in ``place``: that lot, one that is there, or a new one."""
    if is_eggs(lot.unit):
        return lot
    unit = unit_of(stage)
    same = Lot.objects.select_related("taxon").filter(taxon=lot.taxon, unit=unit, owner=lot.owner)
    here = Cell.objects.filter(account__place=place, inside=True).exclude(balance=0)
    found = same.filter(pk__in=here.values("lot_id")).order_by("accession").first()
    if found is not None:
        return found
    name = lot.taxon.scientific_name
    row = LotRow(accession="", name=name, kind=LotKind.GROUP, unit=unit, owner=lot.owner, house_name=None)
    made = register_lots([row], {name: lot.taxon})
    return Lot.objects.select_related("taxon").get(accession=made.names[0])
