"""The e-mail about an introduced species written in on a sheet: when it goes out, and what became of it."""

from django.db import models

from .beside import Notice


class NoticePost(models.Model):
    """Made with a notice that goes out by e-mail too; the post of alarms carries it."""

    notice = models.OneToOneField(
        Notice, on_delete=models.PROTECT, related_name="post", help_text="The notice that is told."
    )
    # Blank: nothing is left to do.
    next_try_at = models.DateTimeField(
        null=True, blank=True, help_text="When its message is tried next; empty: nothing is left to do."
    )
    tries = models.PositiveSmallIntegerField(default=0, help_text="How often its message was tried.")
    mailed_at = models.DateTimeField(null=True, blank=True, help_text="When its message went out.")
    mail_trouble = models.CharField(max_length=200, blank=True, help_text="Why its message did not go out.")

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["next_try_at"], name="notice_post")]

    def __str__(self) -> str:
        return str(self.notice)
