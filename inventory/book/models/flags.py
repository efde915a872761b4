"""What was accepted but needs somebody's eye."""

from django.db import models

from inventory.people.models import Person

from .accounts import Place
from .events import Event
from .lots import Lot


class FlagKind(models.TextChoices):
    BELOW_ZERO = "below_zero", "balance below zero"
    LATE_ENTRY = "late_entry", "dated in a closed period"
    DOUBLE = "double", "suspected double"
    CLOCK = "clock", "clock of the device was out"
    AUTHOR = "author", "author not confirmed by a code"
    OPEN_NAME = "open_name", "species not known yet"
    BODY = "body", "said nothing of the body"
    MORE_THAN_BOOK = "more_than_book", "more than the book held"


class Flag(models.Model):
    """A question that an accepted event raised, with its owner."""

    kind = models.CharField(max_length=20, choices=FlagKind)
    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="flags")
    lot = models.ForeignKey(Lot, null=True, on_delete=models.PROTECT, related_name="flags")
    place = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="flags")
    owner = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="flags")
    raised_at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["raised_at", "id"]
        indexes = [models.Index(fields=["settled_at", "kind"])]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.event_id})"
