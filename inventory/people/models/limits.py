"""How often something was asked for, so that nobody tries doors through."""

from django.db import models


class Asked(models.Model):
    """A count for one kind of request by one asker within one stretch of time.

    ``key`` is a keyed hash: neither an address nor a name stands here. Rows are deleted when they are old.
    """

    key = models.CharField(max_length=64, primary_key=True)
    number = models.PositiveIntegerField(default=0)
    until = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"{self.number} until {self.until:%H:%M}"
