"""Lists that speak of animals: law, protection, non-native and injurious animals, hazards.

They are a house's data, loaded from its files (``lists load``); nothing of them is in the code. Each
loading of a changed file is a new version; the newest is in use and the older ones stay, so that what
a page said last year can be read again.
"""

from django.db import models
from django.db.models import Q

from inventory.db import triggers

from ..rules.lists import ListedRank, ListKind, Mark

KINDS = [(kind.value, kind.words) for kind in ListKind]
MARKS = [(mark.value, mark.words) for mark in Mark]
RANKS = [(rank.value, rank.value) for rank in ListedRank]


class NameList(models.Model):
    """One version of one list. Only whether it is in use moves on."""

    code = models.CharField(max_length=60, help_text="The file's name without its ending.")
    version = models.PositiveIntegerField()
    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=12, choices=KINDS)
    authority = models.CharField(max_length=300, help_text="Who decides on it or publishes it.")
    source = models.TextField(help_text="What was read, and where it is found.")
    source_date = models.CharField(max_length=10, help_text="ISO 8601: year, month or day of the source.")
    mark = models.CharField(max_length=10, choices=MARKS, help_text="How well it is founded.")
    loaded_at = models.DateTimeField()
    fingerprint = models.CharField(max_length=64, help_text="SHA-256 of the file.")
    is_current = models.BooleanField(default=True)

    class Meta:
        ordering = ["code", "version"]
        constraints = [
            models.UniqueConstraint(fields=["code", "version"], name="name_list_version_is_unique"),
            models.UniqueConstraint(
                fields=["code"], condition=Q(is_current=True), name="name_list_one_is_current"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} (version {self.version})"


class ListEntry(models.Model):
    """One row of a list. Append-only.

    An entry of higher rank than species covers all below it, by the taxon's classification.
    """

    of_list = models.ForeignKey(NameList, on_delete=models.PROTECT, related_name="entries")
    row = models.PositiveIntegerField(help_text="Row of the file.")
    scientific_name = models.CharField(max_length=300, help_text="As the list writes it.")
    name = models.CharField(max_length=200, help_text="The same without authorship and signs.")
    first_word = models.CharField(max_length=200, help_text="Genus of a species; else the name.")
    rank = models.CharField(max_length=10, choices=RANKS)
    annotation = models.CharField(max_length=200, help_text="In a few words: Appendix II, venomous spines.")
    region = models.CharField(max_length=200, blank=True, help_text="Where it holds; blank: everywhere.")
    what = models.TextField(blank=True, help_text="Hazards: what can happen.")
    what_to_do_first = models.TextField(blank=True, help_text="Hazards: what to do first.")
    source = models.TextField(blank=True, help_text="Blank: the list's.")
    mark = models.CharField(max_length=10, choices=MARKS)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["of_list", "row"]
        verbose_name_plural = "list entries"
        indexes = [
            models.Index(fields=["rank", "name"], name="list_entry_name"),
            models.Index(fields=["rank", "first_word"], name="list_entry_genus"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["of_list", "row"], name="list_entry_row_is_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.scientific_name}: {self.annotation}"

    @property
    def credit(self) -> str:
        """The source of this entry, or of the whole list."""
        return self.source or self.of_list.source


LISTING_TRIGGERS = [
    *triggers.append_only(
        "names_namelist",
        columns=[
            "code",
            "version",
            "name",
            "kind",
            "authority",
            "source",
            "source_date",
            "mark",
            "loaded_at",
            "fingerprint",
        ],
    ),
    *triggers.append_only("names_listentry"),
]
triggers.declare(*LISTING_TRIGGERS)
