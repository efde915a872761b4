"""What a house keeps of its reports: the columns of the stock list, saved reports, and files being made."""

from django.db import models

from inventory.book.models import Document
from inventory.db import triggers
from inventory.people.models import Person


class StockListColumns(models.Model):
    """One arrangement: which heading each column of the population change stands under. Append-only; the
    newest row counts."""

    headings = models.JSONField(help_text="Column of the change to heading, every column once.")
    since = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["since", "id"]

    def __str__(self) -> str:
        return f"columns of the stock list since {self.since}"


COLUMNS_TRIGGERS = triggers.append_only("reports_stocklistcolumns")
triggers.declare(*COLUMNS_TRIGGERS)


class SavedReport(models.Model):
    """A question that is asked again: which layout, of which days, how often. Never edited: it is ended, and
    another one saved, so that what a made file answered stays known."""

    name = models.CharField(max_length=80, unique=True)
    layout = models.CharField(max_length=20)
    subject = models.CharField(max_length=120, blank=True, help_text="The animal, for a layout of one.")
    scope = models.CharField(max_length=8)
    period_rule = models.CharField(max_length=20)
    form = models.CharField(max_length=4, help_text="xlsx, pdf or csv")
    every = models.CharField(max_length=8)
    day = models.PositiveSmallIntegerField(help_text="Of the month on which it is due.")
    next_due_on = models.DateField(null=True, blank=True)
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="saved_reports")
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=models.Q(day__gte=1, day__lte=28), name="saved_report_day"),
            models.CheckConstraint(
                condition=models.Q(ended_at=None, ended_by=None)
                | models.Q(ended_at__isnull=False, ended_by__isnull=False),
                name="saved_report_ended_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ReportJob(models.Model):
    """One file that is made beside the requests: asked, begun, and done or failed with the reason.

    ``question`` is what the page's address has. ``held_until``: whoever works at it has it so long; when
    that passes without a word, as after a crash, another takes it up.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        WORKING = "working", "being made"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    saved = models.ForeignKey(
        SavedReport, on_delete=models.PROTECT, null=True, blank=True, related_name="jobs"
    )
    layout = models.CharField(max_length=20)
    question = models.JSONField()
    form = models.CharField(max_length=4)
    part = models.CharField(max_length=40, blank=True)
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="report_jobs")
    asked_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    started_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    held_until = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    rows = models.PositiveIntegerField(null=True, blank=True, help_text="Lines in all, once they are known.")
    rows_done = models.PositiveIntegerField(default=0)
    title = models.CharField(max_length=200, blank=True)
    reason = models.CharField(max_length=500, blank=True, help_text="Why it failed.")
    ties = models.BooleanField(null=True, blank=True)
    document = models.ForeignKey(Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-asked_at", "-id"]
        indexes = [models.Index(fields=["state", "held_until"])]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(state="done") | models.Q(document__isnull=False),
                name="report_job_done_has_its_file",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="failed") | ~models.Q(reason=""), name="report_job_failed_says_why"
            ),
        ]

    def __str__(self) -> str:
        return self.title or f"{self.layout}, {self.form}"
