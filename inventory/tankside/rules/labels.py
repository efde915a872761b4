"""What stands on a label, and where: one layout for paper (PDF) and for pictures (SVG).

All lengths in millimetres, from the label's upper left corner; y is the line on which letters stand.
How wide a text is, is told by a function, for this module knows no fonts.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from .label_formats import LabelFormat
from .qr import QUIET, Symbol, symbol

POINT = 25.4 / 72
# (text, size in points, bold) -> millimetres
WidthOf = Callable[[str, float, bool], float]

# Largest and smallest size in points of what names the tank, of its name, of the rest, of a caution.
_CODE, _NAME, _MORE, _CAUTION = (26.0, 9.0), (12.0, 6.0), (8.0, 5.0), (8.5, 5.0)
_LEADING = 1.15
_STEP = 0.5


class NoRoom(ValueError):
    """The words do not fit on the label even in the smallest letters; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Label:
    """One label. ``code`` is what is typed where there is no camera; ``caution`` is never cut."""

    address: str
    code: str
    name: str
    more: tuple[str, ...] = ()
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """One line of letters; ``size`` in points."""

    x: float
    y: float
    size: float
    bold: bool
    words: str


@dataclass(frozen=True, slots=True)
class Drawn:
    """A label laid out. ``qr`` is the corner of the first module, inside the quiet zone."""

    symbol: Symbol
    qr_x: float
    qr_y: float
    texts: tuple[Text, ...]


def lay_out(label: Label, form: LabelFormat, width_of: WidthOf) -> Drawn:
    """The code at the left, the words beside it. Raises :class:`.qr.TooSmall` and :class:`NoRoom`."""
    inner = form.height - 2 * form.padding
    side = min(inner, (form.width - 2 * form.padding) * 0.5)
    made = symbol(label.address, side=side)
    quiet = QUIET * made.module
    left = form.padding + side + (0.5 if form.width < 60 else 1.0)
    room = form.width - form.padding - left
    scale = 1.0
    while scale > 0.3:
        lines = _lines(label, room, scale, width_of)
        if lines is not None and sum(size for _, size, _ in lines) * _LEADING * POINT <= inner:
            texts = _stacked(lines, left, form)
            return Drawn(made, form.padding + quiet, (form.height - side) / 2 + quiet, texts)
        scale -= 0.05
    raise NoRoom(
        f"The words of {label.code} do not fit on {form.words} even in small letters: take larger labels."
    )


def _lines(
    label: Label, room: float, scale: float, width_of: WidthOf
) -> list[tuple[str, float, bool]] | None:
    """The lines with their sizes at this scale; None when a word is wider than the room."""
    found: list[tuple[str, float, bool]] = []
    size = _fitting(label.code, _CODE, room, scale, width_of)
    if size is None:
        return None
    found.append((label.code, size, True))
    for words, (largest, smallest), bold in [
        (label.name, _NAME, False),
        *((words, _MORE, False) for words in label.more),
        (label.caution, _CAUTION, True),
    ]:
        if not words:
            continue
        size = max(smallest, largest * scale)
        wrapped = _wrapped(words, size, bold, room, width_of)
        if wrapped is None:
            return None
        found += [(line, size, bold) for line in wrapped]
    return found


def _fitting(
    words: str, bounds: tuple[float, float], room: float, scale: float, width_of: WidthOf
) -> float | None:
    """The largest size at which ``words`` stand on one line."""
    largest, smallest = bounds
    size = max(smallest, largest * scale)
    while size >= smallest:
        if width_of(words, size, True) <= room:
            return size
        size -= _STEP
    return None


def _wrapped(words: str, size: float, bold: bool, room: float, width_of: WidthOf) -> list[str] | None:
    lines: list[str] = []
    for word in words.split():
        if width_of(word, size, bold) > room:
            return None
        if lines and width_of(f"{lines[-1]} {word}", size, bold) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _stacked(lines: Iterable[tuple[str, float, bool]], left: float, form: LabelFormat) -> tuple[Text, ...]:
    """The lines one under the other, in the middle of the label's height."""
    listed = list(lines)
    height = sum(size for _, size, _ in listed) * _LEADING * POINT
    y = (form.height - height) / 2
    texts = []
    for words, size, bold in listed:
        # Letters stand on a line at about four fifths of their height.
        texts.append(Text(left, y + size * POINT * 0.95, size, bold, words))
        y += size * _LEADING * POINT
    return tuple(texts)
