"""Lots for animals whose species is still open: one for each place, label and unit."""

from django.db import models

from inventory.book.models import Lot, Place


class OpenLot(models.Model):
    """The lot that stands for "one of these" in a place. It goes below zero until somebody says which."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="open_lots")
    key = models.CharField(max_length=140, help_text="set:rays, genus:Raja; with the unit, if not animals.")
    lot = models.OneToOneField(Lot, on_delete=models.PROTECT, related_name="open_lot")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["place", "key"], name="open_lot_once_a_place")]

    def __str__(self) -> str:
        return f"{self.key} in {self.place_id}"
