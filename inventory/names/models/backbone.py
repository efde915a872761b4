"""A release of a taxonomic backbone, as published: names, common names, and cautions beside it."""

from django.db import models
from django.db.models import Q


class BackboneRelease(models.Model):
    """One loaded release. Earlier releases stay, so that an old verdict can be read again."""

    name = models.CharField(max_length=200)
    version = models.CharField(max_length=60, blank=True, help_text="The publisher's version or date.")
    licence = models.CharField(max_length=200, blank=True)
    source = models.CharField(max_length=500, blank=True, help_text="Who publishes it, and where.")
    fingerprint = models.CharField(max_length=64, blank=True, help_text="SHA-256 of the files loaded.")
    has_synonyms = models.BooleanField(default=False)
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


class NameUsage(models.Model):
    """One row of a Darwin Core taxon core; field names are the standard's terms.

    Keys are strings, for publishers use strings. A synonym has ``accepted_name_usage_id``.
    """

    release = models.ForeignKey(BackboneRelease, on_delete=models.CASCADE, related_name="usages")
    taxon_id = models.CharField(max_length=100)
    parent_name_usage_id = models.CharField(max_length=100, blank=True)
    accepted_name_usage_id = models.CharField(max_length=100, blank=True)
    scientific_name = models.CharField(max_length=400, help_text="With authorship.")
    scientific_name_authorship = models.CharField(max_length=300, blank=True)
    canonical_name = models.CharField(max_length=300, help_text="Without authorship, without subgenus.")
    generic_name = models.CharField(max_length=100, blank=True)
    specific_epithet = models.CharField(max_length=100, blank=True)
    infraspecific_epithet = models.CharField(max_length=100, blank=True)
    taxon_rank = models.CharField(max_length=40, blank=True)
    taxonomic_status = models.CharField(max_length=40, blank=True)
    nomenclatural_status = models.CharField(max_length=100, blank=True)
    taxon_remarks = models.TextField(blank=True)
    kingdom = models.CharField(max_length=100, blank=True)
    phylum = models.CharField(max_length=100, blank=True)
    class_name = models.CharField("class", max_length=100, blank=True)
    order = models.CharField(max_length=100, blank=True)
    family = models.CharField(max_length=100, blank=True)
    genus = models.CharField(max_length=100, blank=True)
    source = models.CharField(max_length=300, blank=True, help_text="Where the row comes from.")

    class Meta:
        ordering = ["release", "canonical_name", "taxon_id"]
        constraints = [
            models.UniqueConstraint(fields=["release", "taxon_id"], name="name_usage_is_unique"),
        ]
        indexes = [models.Index(fields=["release", "canonical_name"], name="name_usage_by_name")]

    def __str__(self) -> str:
        return self.scientific_name


class VernacularName(models.Model):
    """A common name. ``key`` is its letters and digits only, so that dog-fish finds dogfish."""

    usage = models.ForeignKey(NameUsage, on_delete=models.CASCADE, related_name="vernacular_names")
    vernacular_name = models.CharField(max_length=200)
    key = models.CharField(max_length=200, db_index=True)
    language = models.CharField(max_length=20, blank=True)
    source = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["vernacular_name", "id"]

    def __str__(self) -> str:
        return self.vernacular_name


class RangeCaution(models.Model):
    """A name that is right in the backbone and yet wrong here: it belongs to an animal elsewhere."""

    release = models.ForeignKey(BackboneRelease, on_delete=models.CASCADE, related_name="cautions")
    typed_name = models.CharField(max_length=300)
    right_name = models.CharField(max_length=300, help_text="What animals of this region are called.")
    region = models.CharField(max_length=120)
    reason = models.TextField()
    source = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["typed_name"]
        constraints = [
            models.UniqueConstraint(fields=["release", "typed_name", "right_name"], name="caution_is_unique")
        ]

    def __str__(self) -> str:
        return f"{self.typed_name}: in {self.region} {self.right_name}"
