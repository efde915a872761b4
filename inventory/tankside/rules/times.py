"""Which moments an entry gets: the device's clock held against ours. Pure.

Three things are told apart: when it happened, when it was saved at the tank, and when it came here.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from inventory.book.rules.happened import Happened, parse_happened

from .stated import comes_back

# A device's clock may be so far from ours and still be believed.
CLOCK_MAY_DIFFER = timedelta(minutes=5)
# Saved and sent within this is "now": the entry was not kept waiting.
LIVE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Clock:
    """The device's clock against ours, from when it says that it sent."""

    sent_at: datetime
    now: datetime

    @property
    def out_by(self) -> timedelta:
        """How far the device is ahead; negative when it is behind."""
        return self.sent_at - self.now

    @property
    def agrees(self) -> bool:
        """Whether the device's times are believed as they are."""
        return abs(self.out_by) <= CLOCK_MAY_DIFFER

    @property
    def words(self) -> str:
        """ "the clock of the device is 12 minutes ahead"."""
        minutes = round(abs(self.out_by).total_seconds() / 60)
        side = "ahead" if self.out_by > timedelta() else "behind"
        return f"the clock of the device is {_long(minutes)} {side}"

    def saved(self, saved_at: datetime) -> datetime:
        """When it was saved: the device's own time, and never later than now."""
        return min(saved_at, self.now)

    def waited(self, saved_at: datetime) -> bool:
        """Whether it was kept on the device for longer than it takes to send it."""
        kept = self.sent_at - saved_at if self.agrees else self.now - self.saved(saved_at)
        return kept > LIVE

    def entered(
        self, saved_at: datetime, *, effective_at: datetime, closings: list[tuple[datetime, datetime]]
    ) -> datetime | None:
        """The ledger's ``entered_at``: None for what came as it was saved, which is now.

        ``closings`` are (first moment that a closing does not count, when it was made). What was saved
        before a period was closed and comes after it would change balances that are signed, so it is
        entered now: it counts as late, and nothing of it is lost.
        """
        saved = self.saved(saved_at)
        if not self.waited(saved_at):
            return None
        if any(effective_at < ends and closed_at >= saved for ends, closed_at in closings):
            return None
        return saved


def happened(text: str, *, saved: datetime, zone: tzinfo, last_seen: str = "") -> Happened:
    """When it happened: as stated, else the minute in which it was saved, in the house's time.

    With ``last_seen`` (an animal that is missing) it is the interval from there to when it was
    noticed. Raises :class:`ComesBack`.
    """
    local = saved.astimezone(zone).replace(tzinfo=None, second=0, microsecond=0)
    field = "happened"
    try:
        stated = parse_happened(text) if text else Happened(local, local)
        if not last_seen:
            return stated
        field = "last_seen"
        return Happened(parse_happened(last_seen).start, stated.end)
    except ValueError as error:
        raise comes_back(field, str(error)) from None


def _long(minutes: int) -> str:
    if minutes < 120:
        return f"{minutes} minutes"
    return f"{minutes // 60} hours" if minutes < 2 * 1440 else f"{minutes // 1440} days"
