"""What the book had beside each first count on the day the two were compared. Append-only."""

from django.db import models

from inventory.db import triggers

from .sheets import Line


class FirstCompared(models.Model):
    """The book of a line's first count, as it was when the count was put beside it; kept once for ever.

    It stands here and is not read back from the times of entry, for a slip that is loaded later may rightly
    state that it was entered earlier.
    """

    line = models.OneToOneField(Line, on_delete=models.PROTECT, related_name="first_compared")
    book = models.IntegerField(help_text="Animals present at the count moment, as the book had them then.")
    compared_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.line}: {self.book}"


COMPARISON_TRIGGERS = [*triggers.append_only("rounds_firstcompared")]
triggers.declare(*COMPARISON_TRIGGERS)
