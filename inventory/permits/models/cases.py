"""What was done and the permit does not allow: never refused, always looked into."""

from django.db import models
from django.db.models import Q

from inventory.db import triggers
from inventory.people.models import Person

from ..rules.checks import CaseKind as Kind
from .permits import Permit
from .takes import Take, Trip


class CaseKind(models.TextChoices):
    OVER_LIMIT = Kind.OVER_LIMIT.value, "over the limit"
    EXPIRED = Kind.EXPIRED.value, "permit not valid that day"
    NOT_NAMED = Kind.NOT_NAMED.value, "person not named on the permit"
    NOT_LISTED = Kind.NOT_LISTED.value, "no line of the permit covers it"
    OUTSIDE_AREA = Kind.OUTSIDE_AREA.value, "outside the permit's area"
    COORDINATES = Kind.COORDINATES.value, "coordinates doubtful"
    GEAR = Kind.GEAR.value, "gear not allowed"
    SEASON = Kind.SEASON.value, "outside the season"
    UNIT = Kind.UNIT.value, "counted in another unit than the limit"
    CONDITION = Kind.CONDITION.value, "sex, size or condition not allowed"


class Case(models.Model):
    """One matter with its owner. ``take`` is the row that raised it, ``trip`` that take's trip.

    Only the owner and the end move on; what was said stands in its notes.
    """

    kind = models.CharField(max_length=14, choices=CaseKind)
    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="cases")
    line_number = models.PositiveSmallIntegerField(null=True, blank=True)
    trip = models.ForeignKey(Trip, on_delete=models.PROTECT, related_name="cases")
    take = models.ForeignKey(Take, null=True, blank=True, on_delete=models.PROTECT, related_name="cases")
    words = models.CharField(max_length=400)
    opened_at = models.DateTimeField()
    owner = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="permit_cases")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["opened_at", "id"]
        indexes = [models.Index(fields=["closed_at", "permit"], name="case_open_of_permit")]
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True)
                | Q(closed_at__isnull=False, closed_by__isnull=False),
                name="case_is_closed_by_somebody",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.words}"

    @property
    def last_words(self) -> str:
        """The last line of its history, when that says more than the case did at first; else nothing."""
        last = max(self.notes.all(), key=lambda note: (note.at, note.pk), default=None)
        return last.words if last is not None and last.words != self.words else ""


class CaseNote(models.Model):
    """One line of a case's history."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="notes")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    words = models.TextField()

    class Meta:
        ordering = ["case", "at", "id"]

    def __str__(self) -> str:
        return self.words


CASE_TRIGGERS = [
    *triggers.append_only(
        "permits_case",
        columns=["kind", "permit_id", "line_number", "trip_id", "take_id", "words", "opened_at"],
    ),
    *triggers.append_only("permits_casenote"),
]
triggers.declare(*CASE_TRIGGERS)
