"""Pictures of animals, by which people tell them apart: one for a taxon, or for one lot."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Document, Lot
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import Person


class Picture(models.Model):
    """One statement on the picture of a taxon or of a lot. Append-only; the newest of each holds.

    What is kept is made anew from the file that came, without what the camera wrote into it: where and when
    it was taken, and with what.
    """

    taxon = models.ForeignKey(
        Taxon, null=True, blank=True, on_delete=models.PROTECT, related_name="pictures", help_text="Of which."
    )
    lot = models.ForeignKey(
        Lot,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="pictures",
        help_text="Of which animals, where the house wants one of their own.",
    )
    document = models.ForeignKey(
        Document,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The picture; blank: from then on none is shown.",
    )
    thumbnail = models.ForeignKey(
        Document,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The same, small, for devices at the tank.",
    )
    width = models.PositiveIntegerField(default=0, help_text="Of the picture, px.")
    height = models.PositiveIntegerField(default=0, help_text="Of the picture, px.")
    alt = models.CharField(max_length=200, blank=True, help_text="What is to be seen, for who cannot see it.")
    credit = models.CharField(max_length=120, blank=True, help_text="Who took it.")
    stated_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="+", help_text="Who set it or took it away."
    )
    stated_at = models.DateTimeField(help_text="When.")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(taxon=None, lot__isnull=False) | Q(taxon__isnull=False, lot=None),
                name="picture_is_of_a_taxon_or_of_a_lot",
            ),
            models.CheckConstraint(
                condition=Q(document=None, thumbnail=None)
                | (Q(document__isnull=False, thumbnail__isnull=False) & ~Q(alt="") & ~Q(credit="")),
                name="picture_is_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.alt or "no picture"


PICTURE_TRIGGERS = triggers.append_only("tankside_picture")
triggers.declare(*PICTURE_TRIGGERS)
