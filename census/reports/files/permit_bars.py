"""Draws what was taken under a permit against its limits, in the ink of the page."""

from inventory.doors.svg import LETTERS, Drawing

from ..rules.permit_bars import Bar, Bars

LEFT, RIGHT, TOP, ROW = 2.0, 338.0, 50.0, 36.0
# How far beyond the limit a bar reaches before it is broken off: the numbers say how long it is.
MOST = 2.5
# Letters of the drawing are about so wide.
LETTER = 5.7
# How wide a letter is in the widest of the usual faces, in sizes of the letters.
NARROW, MIDDLE, WIDE = 0.36, 0.61, 0.98
BOLDER = 1.1
# Between the words of a bar and its numbers, at the least.
GAP = 4.0
_NARROW = frozenset(" ijlftr.,:;'()|-")
_WIDE = frozenset("mMwW\N{HORIZONTAL ELLIPSIS}")
# Left, top, width and height.
_Box = tuple[float, float, float, float]
_SHADES = {"kept": 0.8, "held": 0.8, "died": 0.35, "let go": 0.0}


def permit_bars(bars: Bars) -> str:
    """Each bar against its own limit, so that all limits stand on one upright line."""
    told = ". ".join(f"{bar.words}: {_parts(bar)}; {bar.told}" for bar in bars.bars)
    drawing = Drawing(bars.key, bars.title, f"{told}.", height=TOP + ROW * len(bars.bars) + 4)
    reach = max([1.25, *(min(MOST, _part(bar, sum(n for _, n in bar.parts))) for bar in bars.bars)])
    limit = (RIGHT - LEFT - 8) / reach
    _key(drawing, held=any(bar.held for bar in bars.bars))
    for place, bar in enumerate(bars.bars):
        _bar(drawing, bar, TOP + ROW * place, limit)
    return drawing.svg


def _parts(bar: Bar) -> str:
    return ", ".join(f"{name} {n:,}" for name, n in bar.parts)


def _key(drawing: Drawing, *, held: bool) -> None:
    """What the shades, the outline and the line are."""
    x = LEFT
    for name in ("kept", "died", "let go", "over"):
        if name == "over":
            _outlined(drawing, (x, 3, 12, 14))
        else:
            _box(drawing, (x, 5, 12, 10), _SHADES[name])
        words = "kept, held" if name == "kept" and held else name
        drawing.text(x + 16, 14, words)
        x += 24 + LETTER * len(words)
    drawing.line((x + 2, 3), (x + 2, 17), width=2)
    drawing.text(x + 8, 14, "the limit")
    drawing.text(LEFT, 34, "each bar against its own limit")


def width_of(words: str) -> float:
    """How far the words reach in a drawing, at the most."""
    return LETTERS * sum(
        NARROW if letter in _NARROW else WIDE if letter in _WIDE else MIDDLE for letter in words
    )


def shortened(words: str, room: float) -> str:
    """What fits into a room of this width, by whole words: half a name is none. The table has all of them."""
    if width_of(words) <= room:
        return words
    fits = 0
    while fits < len(words) and width_of(f"{words[: fits + 1]}\N{HORIZONTAL ELLIPSIS}") <= room:
        fits += 1
    whole = words[: fits + 1].rpartition(" ")[0].rstrip(" (,;:") or words[:fits]
    return f"{whole}\N{HORIZONTAL ELLIPSIS}"


def _bar(drawing: Drawing, bar: Bar, y: float, limit: float) -> None:
    """``limit``: how long a bar is that comes to its limit."""
    drawing.text(RIGHT, y + 9, bar.told, anchor="end", bold=bool(bar.over))
    told = width_of(bar.told) * (BOLDER if bar.over else 1)
    drawing.text(LEFT, y + 9, shortened(bar.words, RIGHT - LEFT - told - GAP))
    end, x = RIGHT - 8, LEFT
    for name, n in bar.parts:
        long = min(limit * _part(bar, n), end - x)
        if long > 0:
            _box(drawing, (x, y + 14, long, 12), _SHADES[name])
            x += long
    if limit * _part(bar, sum(n for _, n in bar.parts)) > end - LEFT + 0.1:
        drawing.text(
            RIGHT + 1, y + 24, "\N{SINGLE RIGHT-POINTING ANGLE QUOTATION MARK}", anchor="end", bold=True
        )
    at_limit = LEFT + limit if bar.limit else LEFT
    if bar.over:
        _outlined(drawing, (at_limit, y + 12, min(limit * _part(bar, bar.over), end - at_limit), 16))
    drawing.line((at_limit, y + 12), (at_limit, y + 28), width=2)


def _part(bar: Bar, n: int) -> float:
    """How long so many are, in limits; where nothing is allowed all together are as long as two."""
    if bar.limit:
        return n / bar.limit
    return 2.0 * n / max(1, sum(each for _, each in bar.parts))


def _box(drawing: Drawing, at: _Box, shade: float) -> None:
    x, y, width, height = at
    drawing.add(
        "rect",
        x=x,
        y=y,
        width=max(width, 0.8),
        height=height,
        fill="currentColor",
        fill_opacity=shade,
        stroke="currentColor",
    )


def _outlined(drawing: Drawing, at: _Box) -> None:
    x, y, width, height = at
    drawing.add(
        "rect",
        x=x,
        y=y,
        width=max(width, 2),
        height=height,
        fill="none",
        stroke="currentColor",
        stroke_width=2,
    )
