"""What a registrar decided about two events that look like one."""

from django.db import models
from django.db.models import F, Q

from inventory.book.models import Event
from inventory.db import triggers
from inventory.people.models import Person


class DoubleDecision(models.Model):
    """Two events with their answer: one and the same (the later was taken back), or two. Append-only."""

    class Answer(models.TextChoices):
        SAME = "same", "the same"
        TWO = "two", "two"

    first = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="+")
    answer = models.CharField(max_length=4, choices=Answer)
    decided_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["first", "second"], name="double_is_decided_once"),
            models.CheckConstraint(condition=Q(first__lt=F("second")), name="double_first_comes_first"),
        ]

    def __str__(self) -> str:
        return f"{self.first_id} and {self.second_id}: {self.answer}"


DOUBLE_TRIGGERS = triggers.append_only("tankside_doubledecision")
triggers.declare(*DOUBLE_TRIGGERS)
