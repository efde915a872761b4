"""What the house calls one kind of animal."""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person


class CountClass(models.TextChoices):
    """How a taxon is counted; by consequence and countability, not by value."""

    EXACT = "A", "A exact"
    COUNTABLE = "B", "B countable"
    MANY = "C", "C many"
    PRESENCE_ONLY = "D", "D presence only"


class Taxon(models.Model):
    """One kind of animal, with exactly one accepted name at a time.

    The classification is copied from the backbone release in use, so that reports group without
    asking the backbone, and old reports keep what was true for them.
    """

    scientific_name = models.CharField(
        max_length=200, unique=True, help_text="Accepted name without authorship."
    )
    authorship = models.CharField(max_length=200, blank=True)
    rank = models.CharField(max_length=40, blank=True)
    kingdom = models.CharField(max_length=100, blank=True)
    phylum = models.CharField(max_length=100, blank=True)
    class_name = models.CharField("class", max_length=100, blank=True)
    order = models.CharField(max_length=100, blank=True)
    family = models.CharField(max_length=100, blank=True)
    genus = models.CharField(max_length=100, blank=True)
    identification_qualifier = models.CharField(
        max_length=40, blank=True, help_text="cf., aff., sp. and the like: how sure the name is."
    )
    common_name = models.CharField(max_length=200, blank=True)
    count_class = models.CharField(max_length=1, choices=CountClass, blank=True)
    unit = models.CharField(max_length=40, default="animal")
    counts_in_from = models.CharField(max_length=40, blank=True)
    can_change_sex = models.BooleanField(default=False)
    can_divide = models.BooleanField(default=False)
    look_alike_set = models.CharField(max_length=100, blank=True)
    joined_into = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="joined_from",
        help_text="A review found it to be this other taxon; its lots stand there now.",
    )

    class Meta:
        ordering = ["scientific_name"]
        verbose_name_plural = "taxa"

    def __str__(self) -> str:
        return self.scientific_name


class TaxonName(models.Model):
    """A name that the taxon bore in the house: one row each time it was given or changed."""

    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="names")
    release = models.ForeignKey(
        "names.BackboneRelease", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    scientific_name = models.CharField(max_length=300)
    authorship = models.CharField(max_length=300, blank=True)
    qualifier = models.CharField(max_length=100, blank=True)
    since = models.DateTimeField(help_text="From when the house used it.")
    decided_by = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Blank: the backbone's answer was certain, or the name stands as it was typed.",
    )
    why = models.TextField(blank=True)

    class Meta:
        ordering = ["since", "id"]

    def __str__(self) -> str:
        return self.scientific_name


TAXON_TRIGGERS = triggers.append_only("names_taxonname")
triggers.declare(*TAXON_TRIGGERS)
