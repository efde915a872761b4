"""What devices sent of counts, each entry as it came and as it was answered. Append-only."""

from django.db import models
from django.db.models import Q

from inventory.db import triggers
from inventory.people.models import Device, Person

from ..rules.words import CameBackAs
from .sheets import Sheet


class CountEntry(models.Model):
    """What somebody counted on a device. The same identifier again gets the answer that stands here.

    One that came back stays too: nothing that anybody counted is lost.
    """

    identifier = models.UUIDField(help_text="Made by the device; the same twice is one count.")
    content_hash = models.CharField(max_length=64, help_text="SHA-256 of what was sent.")
    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    sheet = models.ForeignKey(
        Sheet, null=True, blank=True, on_delete=models.PROTECT, related_name="device_entries"
    )
    round = models.PositiveSmallIntegerField(default=1, help_text="As the device stated it.")
    saved_at = models.DateTimeField(null=True, help_text="By the device's clock; blank: not readable.")
    received_at = models.DateTimeField()
    body = models.JSONField()
    came_back = models.BooleanField(default=False)
    answer = models.JSONField()
    replaces = models.UUIDField(null=True, blank=True, help_text="The entry that this one sends corrected.")

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "count entries"
        constraints = [
            models.UniqueConstraint(fields=["identifier", "content_hash"], name="count_entry_is_unique"),
            models.UniqueConstraint(
                fields=["identifier"], condition=Q(came_back=False), name="count_entry_is_sent_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sheet_id or 'no sheet'} {self.identifier}"


class CameBackAnswer(models.Model):
    """What the registrar did about an entry that came back, and why; it waits for nobody any more."""

    entry = models.OneToOneField(CountEntry, on_delete=models.PROTECT, related_name="came_back_answer")
    outcome = models.CharField(max_length=12, choices=[(o.value, o.words) for o in CameBackAs])
    why = models.CharField(max_length=300)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [models.CheckConstraint(condition=~Q(why=""), name="came_back_answer_says_why")]

    def __str__(self) -> str:
        return f"{self.entry}: {self.outcome}"


COUNT_ENTRY_TRIGGERS = triggers.append_only("rounds_countentry")
CAME_BACK_TRIGGERS = triggers.append_only("rounds_camebackanswer")
triggers.declare(*COUNT_ENTRY_TRIGGERS, *CAME_BACK_TRIGGERS)
