"""Bounds that the writer of an event stated for its number. Append-only."""

from django.db import models
from django.db.models import F, Q

from inventory.db import triggers

from ..rules.ranges import Bounds, alone_in_words
from .events import Event


class StatedRange(models.Model):
    """The least and the most that the number of one event can have been, both inclusive.

    Written with its event or not at all: the event's hash covers it. The flows have the best value, and no
    quantity is reckoned from a range.
    """

    event = models.OneToOneField(
        Event,
        primary_key=True,
        on_delete=models.PROTECT,
        related_name="stated_range",
        help_text="The event whose number it is.",
    )
    low = models.PositiveIntegerField(null=True, help_text="At least so many; empty: not stated.")
    high = models.PositiveIntegerField(null=True, help_text="At most so many; empty: not stated.")

    class Meta:
        ordering = ["event_id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(low__isnull=False) | Q(high__isnull=False), name="stated_range_says_something"
            ),
            models.CheckConstraint(
                condition=Q(low=None) | Q(high=None) | Q(low__lte=F("high")), name="stated_range_low_to_high"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.event_id}: {self.low} to {self.high}"

    @property
    def bounds(self) -> Bounds:
        return Bounds(self.low, self.high)

    @property
    def words(self) -> str:
        """ "between 30 and 60"."""
        return alone_in_words(self.bounds)


RANGE_TRIGGERS = triggers.append_only("book_statedrange")
triggers.declare(*RANGE_TRIGGERS)
