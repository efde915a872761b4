"""A marked animal was seen alive: no animal moves, but the book learns whose one of a pool is."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Cell
from inventory.db import triggers
from inventory.people.models import Person

from .permits import Permit


class Sighting(models.Model):
    """At the moment at least ``n`` animals of the cell were those that came under the permit, by a mark.

    It holds until somebody withdraws it. What it says of other moments follows from the book alone.
    """

    cell = models.ForeignKey(
        Cell, on_delete=models.PROTECT, related_name="sightings", help_text="The lot, the tank and the sex."
    )
    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="sightings")
    line_number = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="By which line they came; blank: by the only one in the pool."
    )
    n = models.PositiveIntegerField(default=1, help_text="How many were seen.")
    mark = models.CharField(max_length=120, help_text="By what they are known: tag, clip, scar, picture.")
    happened = models.CharField(max_length=60, help_text="When, as it was stated.")
    effective_at = models.DateTimeField(help_text="The moment from which it counts.")
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["effective_at", "id"]
        constraints = [models.CheckConstraint(condition=Q(n__gte=1), name="sighting_is_of_some")]

    def __str__(self) -> str:
        return f"{self.mark}, {self.happened}"


class SightingWithdrawn(models.Model):
    """A sighting was a mistake."""

    sighting = models.OneToOneField(Sighting, on_delete=models.PROTECT, related_name="withdrawn")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    why = models.CharField(max_length=300, help_text="Why it was none.")

    class Meta:
        verbose_name_plural = "sightings withdrawn"

    def __str__(self) -> str:
        return f"{self.sighting_id}: {self.why}"


SIGHTING_TRIGGERS = [
    *triggers.append_only("permits_sighting"),
    *triggers.append_only("permits_sightingwithdrawn"),
]
triggers.declare(*SIGHTING_TRIGGERS)
