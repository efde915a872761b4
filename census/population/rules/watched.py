"""What the watch on deaths calls usual, and how many false alarms a house allows itself.

The numbers here are judgement (*common practice, no source*): a house that is alarmed once a month for
nothing still looks each time; one that is alarmed daily does not.
"""

from census.estimators.rules.rates import poisson

BASE_DAYS = 365
"""What is usual comes from the year before the watch begins."""
LEAST_BASE_DAYS = 90
"""With less history nothing is called usual."""

FALSE_ALARMS_A_YEAR = 12.0
"""Of the whole house, over all series together: each of n series gets its n-th part, and none
more than one."""

FLOOR = 1 / 91
"""No usual rate is below one death a quarter: a tank without deaths in a year is alarmed by several at
once, not by one. For such a series the stated false alarms are more than what comes."""


def usual_rate(deaths: int, days: int) -> float:
    """Deaths a day, with half a death added (Jeffreys' prior), to two digits."""
    return float(f"{max((deaths + 0.5) / days, FLOOR):.2g}")


def highest_usual(deaths: int, days: int) -> float:
    """The upper 95 % limit of the usual rate (Garwood 1936), to two digits, never below the floor."""
    high = poisson(max(deaths, 0), exposure=float(days)).high
    return float(f"{max(high or 0.0, FLOOR):.2g}")


def allowed_each(series: int) -> float:
    """False alarms a year that one of so many series may give, to two digits."""
    return float(f"{min(1.0, FALSE_ALARMS_A_YEAR / max(series, 1)):.2g}")


def noticed_times(usual: float) -> float:
    """How many times the usual deaths the watch is set to notice: twice, where they are rare five times, for
    twice of next to nothing takes years to tell from chance."""
    return 2.0 if usual >= 0.1 else 5.0
