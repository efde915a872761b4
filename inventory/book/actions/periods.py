"""Gives the book its quarters and years."""

from ..models import Period
from ..rules.periods import code_of, days_of


def add_period(code: str) -> tuple[Period, bool]:
    """The period of ``code`` and whether it is new. Raises :class:`ValueError` when that is no period."""
    code = code_of(code)
    starts_on, ends_on = days_of(code)
    return Period.objects.get_or_create(code=code, defaults={"starts_on": starts_on, "ends_on": ends_on})
