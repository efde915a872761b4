"""The named numbers that a census works with."""

from datetime import datetime

from inventory.book.queries.settings import numbers_in_use

from ..models import Census
from ..rules.settings import CensusSettings, settings_from
from ..rules.words import CensusState


def settings_in_use(*, at: datetime | None = None) -> CensusSettings:
    """As they stand at ``at`` (None: now). One query."""
    return settings_from(numbers_in_use(at=at))


def settings_of(census: Census) -> CensusSettings:
    """A census that is closed is read by the numbers under which it was signed last.

    One that is open again is at work as any other: the next signature is by the numbers of its own day, and
    every line is held to them then. What they ask for anew stands on its page before anybody signs.
    """
    closed = census.state == CensusState.CLOSED and census.version is not None
    return settings_in_use(at=census.version.closed_at if closed and census.version else None)
