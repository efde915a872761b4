"""What was counted. Append-only: a count that was typed wrong is replaced by another, and stays."""

from django.db import models
from django.db.models import F, Q

from inventory.book.models import Lot
from inventory.db import triggers
from inventory.people.models import Person

from ..rules.words import SACFOR, SACFOR_WORDS, Seen
from .sheets import Line


class Recount(models.Model):
    """A recount that was asked for: another person, the book and the earlier counts hidden."""

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="recounts")
    round = models.PositiveSmallIntegerField()
    of = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="recounts_to_do")
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="recounts_asked")
    due_at = models.DateTimeField()

    class Meta:
        ordering = ["asked_at", "id"]
        constraints = [models.UniqueConstraint(fields=["line", "round"], name="recount_once_per_round")]

    def __str__(self) -> str:
        return f"{self.line}, count {self.round}"


class Count(models.Model):
    """A measurement of one line in one round.

    ``value`` is empty when only a letter or the sightings were written. ``at_least``: a minimum
    count, for animals that bury or hide. ``low`` and ``high`` are the range of several passes.
    """

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="counts")
    round = models.PositiveSmallIntegerField()
    counter = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="counts_made"
    )
    party = models.CharField(max_length=120, blank=True, help_text="Who wrote the letter, outside the house.")
    counted_at = models.DateTimeField()
    value = models.PositiveIntegerField(null=True, blank=True)
    at_least = models.BooleanField(default=False)
    low = models.PositiveIntegerField(null=True, blank=True)
    high = models.PositiveIntegerField(null=True, blank=True)
    letter = models.CharField(max_length=1, blank=True, choices=[(s, SACFOR_WORDS[s]) for s in SACFOR])
    passes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How many passes or pictures the number is the middle of."
    )
    males = models.PositiveIntegerField(null=True, blank=True)
    females = models.PositiveIntegerField(null=True, blank=True)
    hermaphrodites = models.PositiveIntegerField(null=True, blank=True)
    unknown = models.PositiveIntegerField(null=True, blank=True)
    method = models.CharField(max_length=120, blank=True)
    remark = models.CharField(max_length=300, blank=True)
    typed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="counts_typed")
    typed_at = models.DateTimeField()
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    class Meta:
        ordering = ["line", "round", "id"]
        constraints = [
            # One first typing for each round; whatever follows replaces it, in one chain.
            models.UniqueConstraint(
                fields=["line", "round"], condition=Q(replaces__isnull=True), name="count_one_first_typing"
            ),
            models.CheckConstraint(condition=Q(round__gte=1, round__lte=3), name="count_round_1_to_3"),
            models.CheckConstraint(
                condition=Q(value__isnull=False) | ~Q(letter=""), name="count_says_something"
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high")),
                name="count_range_runs_upward",
            ),
            models.CheckConstraint(
                condition=Q(counter__isnull=False) | ~Q(party=""), name="count_has_a_counter"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line}, count {self.round}"


class Sighting(models.Model):
    """The roll-call: one individual at one count."""

    made_at = models.ForeignKey(Count, on_delete=models.PROTECT, related_name="sightings")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="sightings")
    seen = models.CharField(max_length=14, choices=[(s.value, s.value) for s in Seen])

    class Meta:
        constraints = [models.UniqueConstraint(fields=["made_at", "lot"], name="sighting_once_per_count")]

    def __str__(self) -> str:
        return f"{self.lot}: {self.seen}"


COUNT_TRIGGERS = [
    *triggers.append_only("rounds_count"),
    *triggers.append_only("rounds_sighting"),
    *triggers.append_only("rounds_recount"),
]
triggers.declare(*COUNT_TRIGGERS)
