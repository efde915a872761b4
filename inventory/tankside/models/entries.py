"""What came from devices, each entry as it was sent and as it was answered. Append-only."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Event, Lot, Place
from inventory.db import triggers
from inventory.people.models import Device, Person

from ..rules import open_names
from ..rules.kinds import SAID, EntryKind
from ..rules.unlisted import how_many_written


class Outcome(models.TextChoices):
    SENT = "sent", "sent"
    CAME_BACK = "came back", "came back"


class Entry(models.Model):
    """One entry of a device. The same identifier again gets the answer that stands here.

    ``body`` is what was sent, without the proof of who held the device. One that came back stays too:
    nothing that anybody tried to enter is lost.
    """

    identifier = models.UUIDField(help_text="Made by the device; the same twice is one entry.")
    content_hash = models.CharField(max_length=64, help_text="SHA-256 of what was sent.")
    kind = models.CharField(max_length=16, choices=[(kind.value, kind.value) for kind in EntryKind])
    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="entries")
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="entries"
    )
    place = models.ForeignKey(Place, null=True, blank=True, on_delete=models.PROTECT, related_name="entries")
    lot = models.ForeignKey(Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="entries")
    open_name = models.CharField(max_length=140, blank=True)
    total = models.PositiveIntegerField(default=0, help_text="Animals in all.")
    saved_at = models.DateTimeField(
        null=True, help_text="By the device's clock; blank: it could not be read."
    )
    received_at = models.DateTimeField()
    body = models.JSONField()
    outcome = models.CharField(max_length=9, choices=Outcome)
    answer = models.JSONField()
    event = models.OneToOneField(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="tank_entry"
    )
    replaces = models.UUIDField(null=True, blank=True, help_text="The entry that this one sends corrected.")
    undoes = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="undone_by"
    )

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "entries"
        constraints = [
            models.UniqueConstraint(fields=["identifier", "content_hash"], name="entry_is_unique"),
            models.UniqueConstraint(
                fields=["identifier"], condition=Q(outcome="sent"), name="entry_is_sent_once"
            ),
        ]
        indexes = [
            models.Index(fields=["place", "lot", "saved_at"], name="entry_by_tank_and_lot"),
            models.Index(fields=["place", "received_at"], name="entry_by_tank"),
            models.Index(fields=["outcome", "received_at"], name="entry_by_outcome"),
            models.Index(fields=["replaces"], condition=Q(replaces__isnull=False), name="entry_replaces"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.identifier}"

    @property
    def told(self) -> str:
        """ "40 moved, pollack, Kelp Hall": in few words what a person wrote, also when it came back."""
        what = SAID[EntryKind(self.kind)] if self.kind else "not readable"
        taxon = self.lot.taxon if self.lot else None
        animal = (
            (taxon.common_name or taxon.scientific_name) if taxon else open_names.in_words(self.open_name)
        )
        counted = self.total and self.kind != EntryKind.NOTE
        parts = (
            f"{self.total} {what}" if counted else what,
            animal,
            self.place.name if self.place else "",
        )
        return ", ".join(part for part in parts if part)

    @property
    def how_many(self) -> str:
        """Of an animal on no list: "2", "the one marked B", "C, common"; "" where nothing was said."""
        return how_many_written(self.body)


ENTRY_TRIGGERS = triggers.append_only("tankside_entry")
triggers.declare(*ENTRY_TRIGGERS)


class SetAside(models.Model):
    """An entry that somebody has looked into, and what it was. Append-only.

    Of one that came back nothing is to be entered any more; what was dead on arrival is counted. What an
    animal on no list was stands in :class:`UnlistedFinding`; here stand the answers from before those.
    """

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="set_aside")
    why = models.CharField(max_length=200)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.entry_id}: {self.why}"


SET_ASIDE_TRIGGERS = triggers.append_only("tankside_setaside")
triggers.declare(*SET_ASIDE_TRIGGERS)
