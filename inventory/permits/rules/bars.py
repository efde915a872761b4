"""The bar of a permit line: what was kept, what died, what was let go, against the limit. Geometry only.

Parts differ by shade and by a mark at their ends, not by colour; what lies over the limit is outlined. The
numbers stand in the table beside it.
"""

from dataclasses import dataclass

from .accounts import Used

WIDTH = 160
HEIGHT = 18


@dataclass(frozen=True, slots=True)
class Part:
    """One piece of the bar, in the units of the drawing."""

    kind: str
    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Bar:
    """The drawing: its pieces, where the limit stands, where the part over it begins; and it in words."""

    parts: tuple[Part, ...]
    limit_x: float | None
    over: Part | None
    words: str


def bar_of(used: Used, limit: int | None, *, counts_let_go: bool, held: bool = False) -> Bar | None:
    """The bar of one line; none where there is nothing to draw.

    What counts against the limit stands first, so that the limit's mark can be read against it.
    """
    order = ["kept", "died", "let_go"]
    numbers = {"kept": used.kept, "died": used.died, "let_go": used.let_go}
    if held:
        order, numbers = ["held"], {"held": used.used}
    whole = max(sum(numbers.values()), limit or 0)
    if not whole:
        return None
    scale = WIDTH / whole
    parts = []
    x = 0.0
    for kind in order:
        if numbers[kind]:
            parts.append(Part(kind, round(x, 1), round(numbers[kind] * scale, 1)))
            x += numbers[kind] * scale
    counted = sum(numbers[kind] for kind in order if kind != "let_go" or counts_let_go)
    limit_x = None if limit is None else round(limit * scale, 1)
    over = None
    if limit is not None and limit_x is not None and counted > limit:
        over = Part("over", limit_x, round((counted - limit) * scale, 1))
    told = ", ".join(f"{numbers[kind]} {kind.replace('_', ' ')}" for kind in order if numbers[kind]) or "none"
    words = told if limit is None else f"{told}; limit {limit}"
    return Bar(tuple(parts), limit_x, over, words)
