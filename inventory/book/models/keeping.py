"""Who keeps which place: whose tanks they are."""

from django.db import models
from django.db.models import F, Q

from inventory.people.models import Person

from .accounts import Place


class Keeping(models.Model):
    """A person looks after a place from one day to another, both inside; what is below it goes along."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="keepings")
    keeper = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="keepings")
    since = models.DateField()
    until = models.DateField(null=True, blank=True, help_text="Blank: still.")

    class Meta:
        ordering = ["place", "since"]
        constraints = [
            models.UniqueConstraint(fields=["place", "keeper", "since"], name="keeping_is_unique"),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("since")), name="keeping_ends_after_start"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place_id} kept by {self.keeper_id}"
