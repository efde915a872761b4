"""The numbered papers of a census, and their lines."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Lot, Place
from inventory.names.models import Taxon
from inventory.people.models import Person

from ..rules.words import LineKind, SheetForm, SheetState
from .census import Census


class Sheet(models.Model):
    """One numbered sheet: a place with what belongs to it. A sheet is never deleted."""

    census = models.ForeignKey(Census, on_delete=models.PROTECT, related_name="sheets")
    number = models.CharField(max_length=30, unique=True, help_text="CS-26Q3-01")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="sheets")
    form = models.CharField(
        max_length=10, choices=[(f.value, f.value) for f in SheetForm], default=SheetForm.SHEET.value
    )
    state = models.CharField(
        max_length=16, choices=[(s.value, s.value) for s in SheetState], default=SheetState.NOT_ISSUED.value
    )
    list_version = models.CharField(
        max_length=40, default="1", help_text="Version of the list of taxa that was printed."
    )
    counters = models.ManyToManyField(Person, blank=True, related_name="sheets_to_count")
    planned_at = models.DateTimeField(
        null=True, blank=True, help_text="When it is to be counted; the quiet time begins before it."
    )
    issued_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    handed_in_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    replaced_by = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaces"
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return self.number


class Line(models.Model):
    """One line of a sheet: one group lot, all individuals of a taxon in a place, or what was written in."""

    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveSmallIntegerField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="census_lines")
    kind = models.CharField(max_length=12, choices=[(k.value, k.words) for k in LineKind])
    taxon = models.ForeignKey(
        Taxon, null=True, blank=True, on_delete=models.PROTECT, related_name="census_lines"
    )
    written_name = models.CharField(max_length=200, blank=True, help_text="As the counter wrote it.")
    unit = models.CharField(max_length=40, default="animal")
    count_class = models.CharField(max_length=1, blank=True, help_text="Blank: apart from the measures.")
    lots = models.ManyToManyField(Lot, blank=True, related_name="census_lines")
    joined_key = models.CharField(
        max_length=120,
        blank=True,
        help_text="Lines of one census with the same key are compared on their sum.",
    )
    note = models.CharField(max_length=300, blank=True)
    added_at = models.DateTimeField(null=True, blank=True, help_text="Blank: on the sheet from the start.")
    added_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["sheet", "number"]
        constraints = [
            models.UniqueConstraint(fields=["sheet", "number"], name="line_number_is_unique"),
            models.CheckConstraint(
                condition=Q(taxon__isnull=False) | ~Q(written_name=""), name="line_has_a_name"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sheet} line {self.number}"
