"""How far a count may lie from the book before anybody has to ask.

In animals first, in per cent only above a small number: ten per cent of six animals is nothing.
"""

from .settings import DEFAULTS, CensusSettings

# The count class of what is counted by two, and where no difference is allowed.
EXACT = "A"


def tolerance(count_class: str, book: int, settings: CensusSettings = DEFAULTS) -> int:
    """Animals (or colonies) by which a count of this class may differ from ``book``.

    Lines without a class, and a book below zero, allow nothing.
    """
    if book < 0:
        return 0
    if count_class == EXACT:
        return settings.tolerance_a
    if count_class == "B":
        if book <= settings.tolerance_b_small_limit:
            return 0
        return max(settings.tolerance_b_min, percent_of(book, settings.tolerance_b_percent))
    if count_class == "C":
        return max(settings.tolerance_c_min, percent_of(book, settings.tolerance_c_percent))
    return 0


def percent_of(n: int, percent: int) -> int:
    """``percent`` of ``n`` in whole animals, rounded down; ``n`` is not negative."""
    return n * percent // 100
