"""The one reader of quantities: what is held, as of a moment, as known at another.

Moments are half-open: a balance *before M* counts flows with ``effective_at < M``; *known at K*
counts flows with ``entered_at <= K``. The end of day D is ``end_of_day(D, zone)``. Every function
asks a constant number of queries.
"""

from .balances import Held, Point, cell_balances, held_at
from .facts import CellFact, Scope, cell_facts
from .sources import source_labels
from .stock import StockBy, StockRow, stock

__all__ = [
    "CellFact",
    "Held",
    "Point",
    "Scope",
    "StockBy",
    "StockRow",
    "cell_balances",
    "cell_facts",
    "held_at",
    "source_labels",
    "stock",
]
