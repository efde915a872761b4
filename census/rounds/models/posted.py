"""The e-mail about an introduced species written in on a sheet: when it goes out, and what became of it."""

from django.db import models

from inventory.tankside.models import Posted

from .beside import Notice


class NoticePost(Posted):
    """Made with a notice that goes out by e-mail too; the post of alarms carries it."""

    notice = models.OneToOneField(
        Notice, on_delete=models.PROTECT, related_name="post", help_text="The notice that is told."
    )

    class Meta(Posted.Meta):
        indexes = [models.Index(fields=["next_try_at"], name="notice_post")]

    def __str__(self) -> str:
        return str(self.notice)
