"""A release of a taxonomic backbone, and the cautions of the house.

The names of a release are not rows here: there may be eight million of them, they are never
edited, and they have a store of their own (:mod:`inventory.names.store`).
"""

from django.db import models
from django.db.models import Q


class BackboneRelease(models.Model):
    """One loaded release. Earlier releases stay, so that an old verdict can be read again.

    A row is here only when all its names are: a load that fails or is killed leaves none.
    """

    name = models.CharField(max_length=200)
    version = models.CharField(max_length=60, blank=True, help_text="The publisher's version or date.")
    licence = models.CharField(max_length=200, blank=True)
    source = models.CharField(max_length=500, blank=True, help_text="Who publishes it, and where.")
    fingerprint = models.CharField(max_length=64, blank=True, help_text="SHA-256 of the files loaded.")
    has_synonyms = models.BooleanField(
        default=False, help_text="Without synonyms an old name is unknown, not wrong."
    )
    n_names = models.PositiveIntegerField(default=0)
    n_synonyms = models.PositiveIntegerField(default=0)
    n_common_names = models.PositiveIntegerField(default=0)
    loaded_at = models.DateTimeField()
    is_current = models.BooleanField(default=False, help_text="Names are checked against this one.")

    class Meta:
        ordering = ["-loaded_at"]
        constraints = [
            models.UniqueConstraint(fields=["name", "version"], name="backbone_release_is_unique"),
            models.UniqueConstraint(
                fields=["is_current"], condition=Q(is_current=True), name="backbone_one_is_current"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.version}".strip()


class RangeCaution(models.Model):
    """A name that is right in the backbone and yet wrong here: it belongs to an animal elsewhere.

    It is the house's, whichever release is current; a release may bring some.
    """

    release = models.ForeignKey(
        BackboneRelease,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="cautions",
        help_text="The release whose files brought it; blank: the house's own.",
    )
    typed_name = models.CharField(max_length=300)
    right_name = models.CharField(max_length=300, help_text="What animals of this region are called.")
    region = models.CharField(max_length=120)
    reason = models.TextField()
    source = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["typed_name"]
        constraints = [models.UniqueConstraint(fields=["typed_name", "right_name"], name="caution_is_unique")]

    def __str__(self) -> str:
        return f"{self.typed_name}: in {self.region} {self.right_name}"
