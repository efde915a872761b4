"""What stands beside counts and decisions: second typings, second names, write-ins, notices, restatements."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Document, Event, Lot, Period, PeriodVersion
from inventory.book.rules.found_as import FoundAs
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import Person

from ..rules.words import NoticeKind, SecondName
from .census import Census
from .counts import Count
from .sheets import Line, Sheet


class Retyping(models.Model):
    """The paper typed a second time, by another person who does not see the first typing."""

    count = models.ForeignKey(Count, on_delete=models.PROTECT, related_name="retypings")
    text = models.CharField(max_length=40, help_text="As it stands on the paper.")
    agrees = models.BooleanField()
    typed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="retypings")
    typed_at = models.DateTimeField()

    class Meta:
        ordering = ["typed_at", "id"]

    def __str__(self) -> str:
        return f"{self.count_id}: {self.text}"


class NoSecondName(models.Model):
    """Somebody says that no second name was at hand where the procedure asks for one."""

    census = models.ForeignKey(Census, on_delete=models.PROTECT, related_name="no_second_names")
    sheet = models.ForeignKey(
        Sheet, null=True, blank=True, on_delete=models.PROTECT, related_name="no_second_names"
    )
    line = models.ForeignKey(
        Line, null=True, blank=True, on_delete=models.PROTECT, related_name="no_second_names"
    )
    task = models.CharField(max_length=20, choices=[(s.value, s.value) for s in SecondName])
    why = models.CharField(max_length=300)
    stated_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()

    class Meta:
        ordering = ["stated_at", "id"]
        constraints = [models.CheckConstraint(condition=~Q(why=""), name="no_second_name_says_why")]

    def __str__(self) -> str:
        return f"{self.task}: {self.why}"


class WriteInFinding(models.Model):
    """What the registrar found a written-in animal to be; the newest finding of a line counts."""

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="findings")
    found_as = models.CharField(max_length=12, choices=[(f.value, f.words) for f in FoundAs])
    taxon = models.ForeignKey(Taxon, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    other_line = models.ForeignKey(Line, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    event = models.ForeignKey(Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, blank=True)
    found_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    found_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.line}: {self.found_as}"


class LinePicture(models.Model):
    """A picture of what was counted or written in."""

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="pictures")
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="+")
    added_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["added_at", "id"]
        constraints = [models.UniqueConstraint(fields=["line", "document"], name="line_picture_once")]

    def __str__(self) -> str:
        return f"{self.line}: {self.document}"


class QuietMove(models.Model):
    """Somebody says whether a move in the quiet time was written on both sheets."""

    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="quiet_moves")
    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="+")
    on_both_sheets = models.BooleanField()
    note = models.CharField(max_length=300, blank=True)
    said_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    said_at = models.DateTimeField()

    class Meta:
        ordering = ["said_at", "id"]

    def __str__(self) -> str:
        return f"{self.sheet}: event {self.event_id}"


class Notice(models.Model):
    """Something that a person of one role has to hear of; it stays on their page until they say so."""

    kind = models.CharField(max_length=16, choices=[(k.value, k.value) for k in NoticeKind])
    role = models.CharField(max_length=20)
    words = models.CharField(max_length=300)
    census = models.ForeignKey(
        Census, null=True, blank=True, on_delete=models.PROTECT, related_name="notices"
    )
    line = models.ForeignKey(Line, null=True, blank=True, on_delete=models.PROTECT, related_name="notices")
    raised_at = models.DateTimeField()
    raised_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["raised_at", "id"]
        indexes = [models.Index(fields=["role", "seen_at"], name="notice_unseen")]

    def __str__(self) -> str:
        return self.words


class Restatement(models.Model):
    """A closed period is to be closed anew: asked by the registrar, approved by the curator."""

    period = models.ForeignKey(Period, on_delete=models.PROTECT, related_name="restatements")
    of_version = models.ForeignKey(PeriodVersion, on_delete=models.PROTECT, related_name="restatements")
    why = models.CharField(max_length=300)
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    approved_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField(null=True, blank=True)
    refused = models.BooleanField(default=False)
    note = models.CharField(max_length=300, blank=True)
    new_version = models.OneToOneField(
        PeriodVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="restates"
    )

    class Meta:
        ordering = ["asked_at", "id"]
        constraints = [
            models.CheckConstraint(condition=~Q(why=""), name="restatement_says_why"),
            models.UniqueConstraint(
                fields=["period"], condition=Q(approved_at__isnull=True), name="restatement_one_waiting"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.of_version}: {self.why}"


BESIDE_TRIGGERS = [
    *triggers.append_only("rounds_retyping"),
    *triggers.append_only("rounds_nosecondname"),
    *triggers.append_only("rounds_writeinfinding"),
    *triggers.append_only("rounds_linepicture"),
    *triggers.append_only("rounds_quietmove"),
]
triggers.declare(*BESIDE_TRIGGERS)
