"""What was typed and what came of it; and what people decided, which is never edited."""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person

from .backbone import BackboneRelease
from .taxon import Taxon


class CheckState(models.TextChoices):
    TO_REVIEW = "to_review", "to review"
    DECIDED = "decided", "decided"


class DecisionKind(models.TextChoices):
    ACCEPT_SUGGESTION = "accept_suggestion", "accepted the suggestion"
    CHOOSE = "choose", "chose among several"
    KEEP_AS_TYPED = "keep_as_typed", "kept as typed"
    NEW_ACCEPTED_NAME = "new_accepted_name", "gave another name"
    UNDONE = "undone", "took the decision back"
    REOPENED = "reopened", "opened the name again"
    RELEASE_ADOPTED = "release_adopted", "followed a new release"


class NameCheck(models.Model):
    """One name as somebody typed it, and the verdict at that moment. Only its state moves on."""

    typed = models.TextField(help_text="Exactly as typed; never overwritten.")
    verdict = models.CharField(max_length=20)
    release = models.ForeignKey(
        BackboneRelease, null=True, blank=True, on_delete=models.PROTECT, related_name="checks"
    )
    name = models.CharField(max_length=300, blank=True, help_text="Accepted name, or blank: ask a person.")
    authorship = models.CharField(max_length=300, blank=True)
    rank = models.CharField(max_length=40, blank=True)
    qualifier = models.CharField(max_length=100, blank=True)
    choices = models.JSONField(default=list, blank=True)
    why = models.TextField(blank=True)
    where_from = models.CharField(max_length=300, blank=True, help_text="File, page or slip it came from.")
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="names_asked"
    )
    taxon = models.ForeignKey(
        Taxon,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="checks",
        help_text="The taxon under which animals of this name stand now.",
    )
    state = models.CharField(max_length=10, choices=CheckState, default=CheckState.TO_REVIEW)

    class Meta:
        ordering = ["asked_at", "id"]
        indexes = [
            models.Index(fields=["state", "asked_at"], name="name_check_queue"),
            models.Index(fields=["taxon"], name="name_check_of_taxon"),
        ]

    def __str__(self) -> str:
        return f"{self.typed}: {self.verdict}"


class NameDecision(models.Model):
    """A person's decision on one checked name. Append-only: one that was wrong is undone by another.

    What it changed is kept with it, so that it can be taken back: ``lots`` are the accession numbers
    of the lots that stood under the name, ``former_taxon`` is where they stood, ``before`` holds the
    fields of the taxon that it wrote over.
    """

    check_of = models.ForeignKey(NameCheck, on_delete=models.PROTECT, related_name="decisions")
    kind = models.CharField(max_length=20, choices=DecisionKind)
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="decisions")
    scientific_name = models.CharField(max_length=300)
    authorship = models.CharField(max_length=300, blank=True)
    qualifier = models.CharField(max_length=100, blank=True)
    lots_touched = models.PositiveIntegerField(default=0)
    for_next_time = models.BooleanField(
        default=False, help_text="The same typed name leads here from now on, without asking."
    )
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="names_decided")
    why = models.TextField(blank=True)
    undoes = models.OneToOneField(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="undone_by",
        help_text="The decision that this one takes back.",
    )
    former_taxon = models.ForeignKey(
        Taxon,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Where the animals stood before; blank: none did.",
    )
    lots = models.JSONField(default=list, blank=True, help_text="Lots that stood under the name.")
    before = models.JSONField(
        null=True, blank=True, help_text="Fields of the taxon that were written over; blank: none was."
    )

    class Meta:
        ordering = ["decided_at", "id"]

    def __str__(self) -> str:
        return f"{self.scientific_name} ({self.kind})"


CHECK_TRIGGERS = [
    # The state and the taxon move on; what was typed and what was answered never do.
    *triggers.append_only(
        "names_namecheck",
        columns=[
            "typed",
            "verdict",
            "release_id",
            "name",
            "authorship",
            "rank",
            "qualifier",
            "choices",
            "why",
            "where_from",
            "asked_at",
            "asked_by_id",
        ],
    ),
    *triggers.append_only("names_namedecision"),
]
triggers.declare(*CHECK_TRIGGERS)
