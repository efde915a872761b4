"""Several passes over one shoal: the middle value and the range. Pure.

The middle of an even number of passes lies between two of them; half an animal is rounded up.
The same stands in static/rounds/passes.js, for the counter sees it without signal.
"""

import re
from collections.abc import Sequence

MOST = 30
_SAID = re.compile(r"(\d+) pass(?:es)?\b")
_LISTED = "passes or pictures:"


def middle(passes: Sequence[int]) -> int:
    """The median, as whole animals."""
    ordered = sorted(passes)
    half = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[half]
    return (ordered[half - 1] + ordered[half] + 1) // 2


def how(passes: Sequence[int], wanted: int) -> str:
    """ "4 passes: 8, 9, 9, 11"; below the number wanted it says that this is an estimate of lower quality."""
    n = len(passes)
    said = f"{n} {'pass' if n == 1 else 'passes'}"
    if n < wanted:
        said += f" only, {wanted} wanted: lower quality"
    listed = f"{said}: {', '.join(str(one) for one in passes)}"
    return listed if len(listed) <= 120 else f"{said}, {min(passes)} to {max(passes)}"


def stated(passes: int | None, method: str) -> int | None:
    """How many passes a count is the middle of, as its number or its method says; ``None``: not said."""
    if passes is not None:
        return passes
    if said := _SAID.match(method):
        return int(said[1])
    if method.startswith(_LISTED) and not method.endswith("..."):
        return len(re.findall(r"\d+", method.removeprefix(_LISTED)))
    return None
