"""Accession numbers that the program makes: a running number and a check digit.

The check digit is that of ISO/IEC 7064:2003, hybrid system MOD 11,10, for numeric strings: it
finds every single wrong digit and nearly every swap of neighbours. A house's own numbers are
kept as they are and need no check digit.
"""

import re
from collections.abc import Iterator

# Digits of the running number; a longer number simply takes more.
WIDTH = 6
_MADE_HERE = re.compile(rf"[0-9]{{{WIDTH + 1},}}")


def check_digit(digits: str) -> str:
    """The digit to write behind ``digits``. Raises :class:`ValueError` when they are not digits."""
    if not re.fullmatch(r"[0-9]+", digits):
        raise ValueError(f"{digits!r} is not a string of digits")
    carried = 10
    for digit in digits:
        carried = ((int(digit) + carried) % 10 or 10) * 2 % 11
    return str((11 - carried) % 10)


def accession_of(running: int) -> str:
    """The accession number of a running number: 1 is ``0000017``."""
    digits = str(running).zfill(WIDTH)
    return digits + check_digit(digits)


def is_valid(accession: str) -> bool:
    """Whether ``accession`` has the form of a number made here and its check digit is right."""
    return bool(_MADE_HERE.fullmatch(accession)) and check_digit(accession[:-1]) == accession[-1]


def numbers_after(last: str) -> Iterator[str]:
    """Accession numbers after ``last``, itself one made here, or empty for a book that has none."""
    running = int(last[:-1]) if last else 0
    while True:
        running += 1
        yield accession_of(running)
