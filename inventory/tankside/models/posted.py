"""What goes out by e-mail besides alarms: when it is sent, and what became of it."""

from django.db import models

from .unlisted import UnlistedFinding


class Posted(models.Model):
    """One message that moves on as the post of an alarm does; a table names what it tells of."""

    # Blank: nothing is left to do.
    next_try_at = models.DateTimeField(
        null=True, blank=True, help_text="When its message is tried next; empty: nothing is left to do."
    )
    tries = models.PositiveSmallIntegerField(default=0, help_text="How often its message was tried.")
    mailed_at = models.DateTimeField(null=True, blank=True, help_text="When its message went out.")
    mail_trouble = models.CharField(max_length=200, blank=True, help_text="Why its message did not go out.")

    class Meta:
        abstract = True
        ordering = ["id"]


class FindingPost(Posted):
    """Made with an answer that concerns the permit officer: an introduced species."""

    finding = models.OneToOneField(
        UnlistedFinding, on_delete=models.PROTECT, related_name="post", help_text="The answer that is told."
    )

    class Meta(Posted.Meta):
        indexes = [models.Index(fields=["next_try_at"], name="finding_post")]

    def __str__(self) -> str:
        return str(self.finding)
