"""By which ways animals can leave a place unseen, as people saw them."""

from django.db import models
from django.db.models import F, Q

from inventory.db import triggers
from inventory.people.models import Person

from .accounts import Place


class WayOut(models.Model):
    """An open drain, an overflow without a screen, a missing lid: from one day to another, both inside.

    What was seen stays as it was written; that it was shut is added once.
    """

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="ways_out")
    what = models.CharField(max_length=120, help_text="In words: overflow without a screen, lid off.")
    since = models.DateField(help_text="The day from which it is known to be open.")
    until = models.DateField(null=True, blank=True, help_text="The last day it was open; empty: still.")
    noted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    noted_at = models.DateTimeField()
    shut_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    shut_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["place", "since", "id"]
        verbose_name_plural = "ways out"
        constraints = [
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("since")), name="way_out_ends_after_start"
            ),
            models.CheckConstraint(
                condition=Q(until__isnull=True, shut_by__isnull=True, shut_at__isnull=True)
                | Q(until__isnull=False, shut_by__isnull=False, shut_at__isnull=False),
                name="way_out_is_shut_by_somebody",
            ),
            models.UniqueConstraint(
                fields=["place", "what"], condition=Q(until__isnull=True), name="way_out_is_open_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what}, {self.since} to {self.until or 'now'}"


WAYS_OUT_TRIGGERS = triggers.append_only(
    "book_wayout", columns=["place_id", "what", "since", "noted_by_id", "noted_at"]
)
triggers.declare(*WAYS_OUT_TRIGGERS)
