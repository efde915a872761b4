"""What a counter writes into a box: a number, a minimum, a letter, or nothing."""

import re
from dataclasses import dataclass

from .words import SACFOR, SACFOR_WORDS, Seen

EXPECTED = 'a whole number, "at least 22", or one of the letters S A C F O R; nothing if not counted'
_NUMBER = re.compile(r"(\d{1,9})(?:\.0+)?")
_MINIMUM = re.compile(r"(?:at\s+least|min(?:imum)?\.?|>=|≥)\s*(\d{1,9})", re.IGNORECASE)
_SEEN = {
    "seen": Seen.SEEN,
    "yes": Seen.SEEN,
    "x": Seen.SEEN,
    "✓": Seen.SEEN,
    "not seen": Seen.NOT_SEEN,
    "no": Seen.NOT_SEEN,
    "not looked for": Seen.NOT_LOOKED_FOR,
}


@dataclass(frozen=True, slots=True)
class Written:
    """``value`` None and no ``letter``: the box was blank, the line is not counted."""

    value: int | None = None
    at_least: bool = False
    letter: str = ""

    @property
    def blank(self) -> bool:
        return self.value is None and not self.letter


def read_box(text: str, *, presence: bool = False) -> Written:
    """Reads one box; raises :class:`ValueError` that says what was expected.

    ``presence``: a line of class D, where a letter stands. Zero is a count and must be typed.
    """
    text = text.strip()
    if not text:
        return Written()
    if len(text) == 1 and text.upper() in SACFOR:
        return Written(letter=text.upper())
    for letter, word in SACFOR_WORDS.items():
        if presence and text.lower() == word:
            return Written(letter=letter)
    if match := _NUMBER.fullmatch(text):
        return Written(int(match[1]))
    if match := _MINIMUM.fullmatch(text):
        return Written(int(match[1]), at_least=True)
    raise ValueError(f"{text!r} cannot be read; expected {EXPECTED}")


def read_seen(text: str) -> Seen | None:
    """Reads one mark of the roll-call; blank is ``None``."""
    text = text.strip().lower()
    if not text:
        return None
    if text not in _SEEN:
        raise ValueError(f'{text!r} cannot be read; expected "seen", "not seen" or "not looked for"')
    return _SEEN[text]


def read_whole(text: str) -> int | None:
    """Reads a whole number that is not negative; blank is ``None``."""
    text = text.strip()
    if not text:
        return None
    match = _NUMBER.fullmatch(text)
    if not match:
        raise ValueError(f"{text!r} is not a whole number of 0 or more")
    return int(match[1])
