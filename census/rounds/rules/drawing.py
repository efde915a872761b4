"""Draws by lot that anybody can repeat: a seed, a list of names, and no machine's own dice.

The order is that of SHA-256 over seed and name, so that the same seed draws the same from the same
list in every version of the language and on every machine.
"""

import hashlib
from collections.abc import Iterable

from .settings import DEFAULTS, CensusSettings


def drawn(seed: str, names: Iterable[str], n: int) -> list[str]:
    """``n`` of ``names`` (all, when there are no more), each at most once, in the order drawn."""
    return sorted(set(names), key=lambda name: _place(seed, name))[: max(n, 0)]


def drawn_again(seed: str, names: Iterable[str], n: int) -> list[str]:
    """``n`` draws of which each may fall on any name again; none from no names."""
    listed = sorted(set(names))
    if not listed:
        return []
    return [drawn(f"{seed}/{k}", listed, 1)[0] for k in range(n)]


def share_of(n: int, percent: int, *, at_least: int) -> int:
    """``percent`` of ``n``, rounded up, at least ``at_least``, never more than ``n``."""
    return min(n, max(at_least, -(-n * percent // 100)))


def recounts_to_draw(agreeing: int, settings: CensusSettings = DEFAULTS) -> int:
    """How many lines that agree are counted again."""
    return share_of(agreeing, settings.random_recount_percent, at_least=settings.random_recount_min_lines)


def sheets_to_draw(sheets: int, *, doubled: bool, settings: CensusSettings = DEFAULTS) -> int:
    """How many sheets the sample test takes; twice as many after a bad sample."""
    n = share_of(sheets, settings.sample_sheets_percent, at_least=settings.sample_sheets_min)
    return min(sheets, 2 * n) if doubled else n


def _place(seed: str, name: str) -> str:
    return hashlib.sha256(f"{seed}\n{name}".encode()).hexdigest()
