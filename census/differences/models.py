"""What people said no to. Append-only."""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person


class Refusal(models.Model):
    """A proposal that a person refused; it is not made again of the same counts.

    Lines and counts are named by what stands on the sheet and by the numbers of their counts, for the
    rooms above know them and this one does not.
    """

    proposal = models.CharField(max_length=400, help_text="Cause and lines: move / CS-26Q3-13 line 1 > ...")
    counts = models.CharField(max_length=200, help_text="The counts on which it rested, in order.")
    words = models.TextField(help_text="As it was proposed.")
    why = models.CharField(max_length=300, blank=True)
    refused_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="refusals")
    refused_at = models.DateTimeField()

    class Meta:
        ordering = ["refused_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["proposal", "counts"], name="refusal_once_of_the_same_counts")
        ]

    def __str__(self) -> str:
        return self.proposal


REFUSAL_TRIGGERS = triggers.append_only("differences_refusal")
triggers.declare(*REFUSAL_TRIGGERS)
