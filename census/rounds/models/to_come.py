"""Counts outside of sheets that somebody is about to make, with their quiet time before. Append-only."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Place
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import Person

from .checks import Draw


class CountToCome(models.Model):
    """Somebody, ``counter``, will count in ``place``: class A on the spot, or what a sample drew there.

    Its numbers are hidden from them from the quiet time before ``planned_at`` until the count is kept; what
    was never counted lapses a day later.
    """

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="counts_to_come")
    taxon = models.ForeignKey(Taxon, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    unit = models.CharField(max_length=40, blank=True)
    draw = models.ForeignKey(
        Draw, null=True, blank=True, on_delete=models.PROTECT, related_name="counts_to_come"
    )
    counter = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="counts_to_come")
    planned_at = models.DateTimeField()
    said_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    said_at = models.DateTimeField()

    class Meta:
        ordering = ["planned_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(taxon__isnull=False, draw__isnull=True)
                | Q(taxon__isnull=True, draw__isnull=False),
                name="count_to_come_is_of_a_kind_or_a_draw",
            )
        ]
        indexes = [models.Index(fields=["planned_at"], name="count_to_come_when")]

    def __str__(self) -> str:
        return f"{self.counter} in {self.place}, {self.planned_at:%Y-%m-%d %H:%M}"


TO_COME_TRIGGERS = [*triggers.append_only("rounds_counttocome")]
triggers.declare(*TO_COME_TRIGGERS)
