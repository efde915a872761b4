"""An inspector's sample test, both ways: what was drawn and what was found. Append-only."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Lot, Place
from inventory.db import triggers
from inventory.people.models import Person

from .rules.sample import FLOOR_TO_LIST


class FloorSample(models.Model):
    """One draw, outside any census. The same seed draws the same again from the same list."""

    seed = models.CharField(max_length=64, help_text="What the draw was made with; anybody can repeat it.")
    list_as_of = models.DateTimeField(help_text="The moment of the list that was drawn from.")
    list_sha256 = models.CharField(max_length=64, help_text="SHA-256 of the list that was drawn from.")
    drawn_at = models.DateTimeField(help_text="When it was drawn.")
    drawn_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="floor_samples", help_text="Who had it drawn."
    )

    class Meta:
        ordering = ["-drawn_at", "-id"]

    def __str__(self) -> str:
        return f"sample of {self.drawn_at:%Y-%m-%d}"


class SampledThing(models.Model):
    """One thing to look at: a lot in a place, or a place in which the first animal seen is looked up."""

    sample = models.ForeignKey(
        FloorSample, on_delete=models.PROTECT, related_name="things", help_text="The draw it belongs to."
    )
    number = models.PositiveSmallIntegerField(help_text="Number in the draw.")
    way = models.CharField(max_length=16, help_text="list to floor, or floor to list")
    lot = models.ForeignKey(
        Lot,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="sampled",
        help_text="What is looked for on the floor; empty from floor to list.",
    )
    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="sampled", help_text="Where to look."
    )
    count_class = models.CharField(
        max_length=1, blank=True, help_text="Class of the lot at that moment; it says what is right."
    )

    class Meta:
        ordering = ["sample", "number"]
        constraints = [
            models.UniqueConstraint(fields=["sample", "number"], name="sampled_thing_number_is_unique"),
            models.CheckConstraint(
                condition=Q(lot__isnull=False) | Q(way=FLOOR_TO_LIST), name="sampled_thing_has_a_lot"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sample_id}/{self.number}"


class SampleFinding(models.Model):
    """What was found for one thing, with the book at that moment; ``right`` by the rule of its class."""

    thing = models.OneToOneField(
        SampledThing, on_delete=models.PROTECT, related_name="finding", help_text="What was looked at."
    )
    found = models.CharField(max_length=200, help_text="The number, or the animal seen on the floor.")
    book = models.IntegerField(null=True, help_text="What the book had there, present; empty: floor to list.")
    right = models.BooleanField(help_text="Right by the rule of the class, or found on the list.")
    found_at = models.DateTimeField(help_text="When it was looked at.")
    found_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="sample_findings", help_text="Who looked."
    )
    note = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"{self.thing}: {self.found}"


SAMPLE_TRIGGERS = [
    *triggers.append_only("whole_book_floorsample"),
    *triggers.append_only("whole_book_sampledthing"),
    *triggers.append_only("whole_book_samplefinding"),
]
triggers.declare(*SAMPLE_TRIGGERS)
