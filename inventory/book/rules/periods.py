"""Quarters and years by their codes: ``2026 Q3`` and ``2026``."""

import re
from datetime import date, timedelta

_CODE = re.compile(r"(\d{4})(?: ?Q([1-4]))?")


def code_of(text: str) -> str:
    """The code as the house writes it: ``2026q3`` is ``2026 Q3``. Raises :class:`ValueError`."""
    found = _CODE.fullmatch(text.strip().upper())
    if not found:
        raise ValueError(f"{text!r} is no period; expected a quarter such as 2026 Q3, or a year such as 2026")
    year, quarter = found.groups()
    return f"{year} Q{quarter}" if quarter else year


def days_of(code: str) -> tuple[date, date]:
    """First and last day of the period, both inside; the quarters of the calendar year."""
    code = code_of(code)
    year, _, quarter = code.partition(" Q")
    if not quarter:
        return date(int(year), 1, 1), date(int(year), 12, 31)
    month = 3 * int(quarter) - 2
    return date(int(year), month, 1), _month_after(int(year), month + 2) - timedelta(days=1)


def _month_after(year: int, month: int) -> date:
    return date(year + 1, 1, 1) if month == 12 else date(year, month + 1, 1)
