"""Working days: Monday to Friday. Holidays are the house's own and are not known here."""

from datetime import date, timedelta

_FRIDAY = 4


def working_days_after(end: date, today: date) -> int:
    """How many working days have begun since the day after ``end``, today included; 0 before that."""
    days = (end + timedelta(days=k) for k in range(1, (today - end).days + 1))
    return sum(1 for day in days if day.weekday() <= _FRIDAY)
