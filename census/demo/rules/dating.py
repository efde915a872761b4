"""On which days the background befalls, and when it is entered."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from random import Random

# A slip is on paper for at most so many days; a quarter closes after that.
LATE_DAYS = (4, 12)
ROUNDS = (time(8, 10), time(8, 40), time(9, 20), time(11, 30), time(14, 15), time(16, 50))


def chunks(total: int, most: int, rng: Random) -> list[int]:
    """``total`` cut into entries of 1 to ``most``."""
    parts = []
    while total:
        part = rng.randint(1, min(most, total))
        parts.append(part)
        total -= part
    return parts


def days_of_deaths(
    parts: Sequence[int],
    *,
    opening: int,
    arrivals: Sequence[tuple[date, int]],
    first: date,
    last: date,
    month_factor: Mapping[int, float],
    rng: Random,
) -> list[tuple[date, int]]:
    """A day for each part, more in the worse months, and never more dead than there are.

    ``arrivals`` are days and numbers, negative for planned departures. A part that finds too few
    animals waits for the next arrival; when there is none it stays, and the book goes below zero.
    """
    days = [first + timedelta(days=i) for i in range((last - first).days + 1)]
    weights = [month_factor[day.month] for day in days]
    dated = sorted(zip(rng.choices(days, weights, k=len(parts)), parts, strict=True))
    result: list[tuple[date, int]] = []
    for day, part in dated:
        dead = sum(n for _, n in result)
        later = [arrived for arrived, _ in sorted(arrivals) if day <= arrived < last]
        for moment in (day, *(arrived + timedelta(days=1) for arrived in later)):
            there = opening - dead + sum(n for arrived, n in arrivals if arrived < moment or n < 0)
            if there >= part:
                day = moment  # noqa: PLW2901 - the part waits
                break
        result.append((day, part))
    return result


def entered_after(
    happened: date, *, late_share: float, not_after: datetime | None, rng: Random
) -> tuple[str, str]:
    """(``happened``, ``entered``) of an entry: mostly with the minute and the same day, some late."""
    if rng.random() < late_share:
        entered = datetime.combine(happened + timedelta(days=rng.randint(*LATE_DAYS)), rng.choice(ROUNDS))
        if not_after is None or entered < not_after:
            return happened.isoformat(), entered.isoformat(timespec="minutes")
    seen = datetime.combine(happened, rng.choice(ROUNDS)) + timedelta(minutes=rng.randint(0, 19))
    entered = seen + timedelta(minutes=rng.randint(1, 25))
    stated = seen.isoformat(timespec="minutes") if rng.random() < 0.6 else happened.isoformat()
    return stated, entered.isoformat(timespec="minutes")
