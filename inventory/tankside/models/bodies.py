"""What became of the body of an animal that died."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Event
from inventory.db import triggers
from inventory.people.models import Person


class Kept(models.TextChoices):
    FREEZER = "freezer", "in the freezer"
    FIXED = "fixed", "fixed"
    MUSEUM = "museum", "to the museum"
    VET = "vet", "to the veterinarian"
    DISCARDED = "discarded", "discarded"
    NOT_FOUND = "not found", "not found"


# Where there is a body to be found, in a bag or a jar.
HELD = (Kept.FREEZER, Kept.FIXED, Kept.MUSEUM, Kept.VET)


class Part(models.TextChoices):
    WHOLE = "whole", "whole"
    PART = "part", "part"
    REMAINS = "remains", "remains"


class Body(models.Model):
    """One statement on the body of a death. Append-only; the newest of an event holds.

    A bag holds one death's body at a time, which the actions see to under the writers' lock: the same bag may
    be named again for its own body, and is free when the death was taken back or the body is gone.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="bodies")
    kept = models.CharField(max_length=10, choices=Kept)
    bag = models.CharField(max_length=40, blank=True, help_text="Number of the bag; one bag, one death.")
    part = models.CharField(max_length=8, choices=Part, default=Part.WHOLE)
    stated_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "bodies"
        indexes = [models.Index(fields=["bag"], condition=~Q(bag=""), name="body_by_bag")]

    def __str__(self) -> str:
        return f"{self.kept} {self.bag}".strip()


BODY_TRIGGERS = triggers.append_only("tankside_body")
triggers.declare(*BODY_TRIGGERS)
