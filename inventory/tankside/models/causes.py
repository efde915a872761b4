"""Why an animal died, as it was found afterwards."""

from django.db import models

from inventory.book.models import Event
from inventory.db import triggers
from inventory.people.models import Person


class FoundCause(models.Model):
    """What a necropsy or a laboratory found. Append-only; the newest of a death holds.

    The death keeps the cause that was stated first, and its number: neither is ever changed by this.
    """

    event = models.ForeignKey(
        Event, on_delete=models.PROTECT, related_name="found_causes", help_text="The death."
    )
    cause = models.CharField(max_length=120, help_text="The cause as it was found.")
    how = models.CharField(
        max_length=200, blank=True, help_text="By what it was found: necropsy, laboratory and its number."
    )
    stated_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="+", help_text="Who said so."
    )
    stated_at = models.DateTimeField(help_text="When.")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.cause}, {self.how}" if self.how else self.cause


CAUSE_TRIGGERS = triggers.append_only("tankside_foundcause")
triggers.declare(*CAUSE_TRIGGERS)
