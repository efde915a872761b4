"""That a person's name was taken out of the house's books, and why; not what it was."""

from django.db import models

from inventory.db import triggers

from .people import Person


class Erasure(models.Model):
    """One erasure. Append-only: who reads a pseudonym in the book finds here why it stands there."""

    person = models.OneToOneField(Person, on_delete=models.PROTECT, related_name="erasure")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300)

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.person_id} on {self.at:%Y-%m-%d}"


ERASURE_TRIGGERS = triggers.append_only("people_erasure")
triggers.declare(*ERASURE_TRIGGERS)
