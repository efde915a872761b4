"""Counts that test the counting: what was drawn by lot, what was found, and counts on the spot."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Lot, Place
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import Person

from ..rules.words import Drawn
from .census import Census
from .sheets import Line


class Draw(models.Model):
    """What the program drew; the same seed draws the same again from the same lines."""

    census = models.ForeignKey(Census, on_delete=models.PROTECT, related_name="draws")
    what = models.CharField(max_length=16, choices=[(d.value, d.words) for d in Drawn])
    seed = models.CharField(max_length=64)
    drawn_at = models.DateTimeField()
    drawn_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="draws")
    doubled = models.BooleanField(default=False, help_text="More than a tenth was wrong the time before.")

    class Meta:
        ordering = ["drawn_at", "id"]

    def __str__(self) -> str:
        return f"{self.census} {self.what} {self.pk}"


class SignedWithoutSample(models.Model):
    """The curator signed although no sample was drawn, and said why."""

    census = models.ForeignKey(Census, on_delete=models.PROTECT, related_name="signed_without_sample")
    why = models.CharField(max_length=300)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [models.CheckConstraint(condition=~Q(why=""), name="signed_without_sample_says_why")]

    def __str__(self) -> str:
        return f"{self.census}: {self.why}"


WITHOUT_SAMPLE_TRIGGERS = triggers.append_only("rounds_signedwithoutsample")
triggers.declare(*WITHOUT_SAMPLE_TRIGGERS)


class DrawnLine(models.Model):
    """One thing to look at: a line of a drawn sheet, of the list, of class A; or a place to search."""

    draw = models.ForeignKey(Draw, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveSmallIntegerField()
    part = models.CharField(max_length=16, help_text="sheet, class A, list to floor, floor to list")
    line = models.ForeignKey(Line, null=True, blank=True, on_delete=models.PROTECT, related_name="drawn")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["draw", "number"]
        constraints = [
            models.UniqueConstraint(fields=["draw", "number"], name="drawn_line_number_is_unique"),
            models.CheckConstraint(
                condition=Q(line__isnull=False) | Q(part="floor to list"), name="drawn_line_has_a_line"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.draw_id}/{self.number}"


class SampleResult(models.Model):
    """What was found; ``right`` by the rule of the class, with the book at that moment."""

    drawn = models.OneToOneField(DrawnLine, on_delete=models.PROTECT, related_name="result")
    found = models.CharField(max_length=200, help_text="The number, or the animal found on the floor.")
    book = models.IntegerField(null=True)
    right = models.BooleanField()
    counted_at = models.DateTimeField()
    counted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="sample_results")
    typed_at = models.DateTimeField()
    note = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"{self.drawn}: {self.found}"


class SpotCount(models.Model):
    """One count of a class A taxon in a place outside a census, with the book at its moment."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="spot_counts")
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="spot_counts")
    unit = models.CharField(max_length=40)
    lots = models.ManyToManyField(Lot, related_name="spot_counts")
    counted_at = models.DateTimeField()
    value = models.PositiveIntegerField()
    book = models.IntegerField()
    counter = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="spot_counts")
    second = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="spot_counts_seconded"
    )
    note = models.CharField(max_length=300, blank=True)
    typed_at = models.DateTimeField()

    class Meta:
        ordering = ["-counted_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(second__isnull=False) | ~Q(note=""), name="spot_count_second_or_why"
            )
        ]

    def __str__(self) -> str:
        return f"{self.taxon} in {self.place}: {self.value}"


CHECK_TRIGGERS = [
    *triggers.append_only("rounds_draw"),
    *triggers.append_only("rounds_drawnline"),
    *triggers.append_only("rounds_sampleresult"),
    *triggers.append_only("rounds_spotcount"),
    *triggers.append_only("rounds_spotcount_lots"),
]
triggers.declare(*CHECK_TRIGGERS)
