"""Animals recorded together."""

from typing import Any

from django.db import models
from django.db.models import Q

from inventory.names.models import Taxon


class LotKind(models.TextChoices):
    INDIVIDUAL = "individual", "individual"
    GROUP = "group", "group"
    COLONY = "colony", "colony"


class Lot(models.Model):
    """An individual, a group or a colony, under one accession number."""

    accession = models.CharField(max_length=40, unique=True)
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="lots")
    kind = models.CharField(max_length=12, choices=LotKind)
    unit = models.CharField(max_length=40, default="animal")
    owner = models.CharField(max_length=120, blank=True, help_text="Blank: the house itself.")
    house_name = models.CharField(max_length=80, blank=True)
    marks = models.CharField(max_length=200, blank=True)
    count_class = models.CharField(
        max_length=1, blank=True, help_text="Blank: the class of the taxon; the registrar may change it."
    )
    verbatim_identification = models.CharField(
        max_length=200, blank=True, help_text="The name as it was typed."
    )
    held = models.IntegerField(
        default=0, help_text="Cache kept by the database: animals in places, ours and others'."
    )

    class Meta:
        ordering = ["accession"]
        indexes = [models.Index(fields=["taxon", "kind"])]
        constraints = [
            models.CheckConstraint(
                condition=~Q(kind="individual") | Q(held__gte=0, held__lte=1),
                name="lot_individual_is_one_or_none",
            )
        ]

    def __str__(self) -> str:
        return f"{self.accession} {self.house_name}".strip()

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Saves all but ``held`` of a lot that is there: the database keeps that number itself."""
        if not self._state.adding and kwargs.get("update_fields") is None:
            kwargs["update_fields"] = [
                field.name for field in self._meta.concrete_fields if field.name not in ("id", "held")
            ]
        super().save(*args, **kwargs)
