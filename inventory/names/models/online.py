"""What an online service answered, kept for a while, and which names it is to be asked next."""

from django.db import models

from inventory.people.models import Person

from ..rules.reply import State
from .checks import NameCheck


class OnlineLookup(models.Model):
    """One question and the newest answer to it. Overwritten when asked again, removed at will.

    A failure never overwrites an answer: ``answer`` and ``answered_at`` are of the last attempt
    that was answered, the other fields of the last attempt.
    """

    STATES = [(state.value, state.value.replace("_", " ")) for state in State]

    key = models.CharField(max_length=64, unique=True, help_text="SHA-256 over all that was asked.")
    name = models.CharField(max_length=520, help_text="The name asked about.")
    rank = models.CharField(max_length=40, blank=True)
    classification = models.JSONField(default=list, help_text="Kingdom to genus as stated; blank: not.")
    checklist = models.CharField(max_length=60, help_text="Key of the checklist that was asked.")
    state = models.CharField(max_length=10, choices=STATES)
    sentence = models.TextField(blank=True, help_text="How the last attempt ended, for people.")
    asked_at = models.DateTimeField(help_text="The last attempt.")
    expires_at = models.DateTimeField(help_text="From then on it is asked again.")
    answer = models.JSONField(null=True, help_text="In the service's v2 shape, reduced to what is read.")
    answered_at = models.DateTimeField(null=True)
    asked_for = models.ForeignKey(
        NameCheck,
        null=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text="The line for which the service gave the answer; for others it comes from the cache.",
    )

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return f"{self.name}: {self.state}"


class OnlineRequest(models.Model):
    """A name that a person wants asked first at the next background check; gone once it is done."""

    check_of = models.OneToOneField(NameCheck, on_delete=models.CASCADE, related_name="online_request")
    wanted_at = models.DateTimeField()
    wanted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["wanted_at", "id"]

    def __str__(self) -> str:
        return f"{self.check_of.typed}, wanted by {self.wanted_by.name}"


class OnlinePause(models.Model):
    """One row: until when a check is running, and until when the service wants to be left alone."""

    busy_until = models.DateTimeField(null=True)
    not_before = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"not before {self.not_before}"
