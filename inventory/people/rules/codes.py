"""Four-digit codes: what is one, how many wrong ones lock, and how long a confirmation holds. Pure."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

DIGITS = 4
# Wrong codes for one person: on one device, and on all together (common practice, no source).
WRONG_ON_A_DEVICE = 5
WRONG_IN_ALL = 10
LOCKED_FOR = timedelta(minutes=15)
# A working day and a late evening.
PASS_LASTS = timedelta(hours=16)


def what_is_wrong_with(code: str) -> str:
    """Why ``code`` cannot be somebody's code; empty when it can."""
    if len(code) != DIGITS or not code.isascii() or not code.isdigit():
        return f"expected {DIGITS} digits"
    steps = {int(b) - int(a) for a, b in pairwise(code)}
    if steps in ({0}, {1}, {-1}):
        return "too easy to guess: not one digit four times, and no digits in a row"
    return ""


@dataclass(frozen=True, slots=True)
class Pass:
    """Says that a person gave the right code on a device at a moment."""

    person: int
    device: int
    at: datetime
    code_changed_at: datetime

    def holds(self, *, person: int, device: int, moment: datetime, code_changed_at: datetime | None) -> bool:
        """Whether it confirms that ``person`` held ``device`` at ``moment``.

        Five minutes of grace before, for the device's clock is not ours.
        """
        return (
            (self.person, self.device) == (person, device)
            and self.code_changed_at == code_changed_at
            and self.at - timedelta(minutes=5) <= moment <= self.at + PASS_LASTS
        )
