"""The one reader of quantities: what is held, as of a moment, as known at another.

Moments are half-open: a balance *before M* counts flows with ``effective_at < M``; *known at K*
counts flows with ``entered_at <= K``. The end of day D is ``end_of_day(D, zone)``. Every function
asks a constant number of queries.
"""

from inventory.book.rules.ends import CellEnd
from inventory.book.rules.scope import Scope

from .balances import Held, Point, cell_balances, cell_balances_from_now, held_at
from .columns import end_columns, period_columns
from .dated import DatedColumns, dated_columns
from .facts import CellFact, cell_facts
from .flows import DatedFlow, Pair, cell_ends, flows_across, flows_of_lots, late_flows, pair_flows
from .sources import source_labels
from .spans import columns_of_spans
from .stock import StockBy, StockRow, stock
from .traces import Traced, TracedFlow, lots_that_share, traced_flows

__all__ = [
    "CellEnd",
    "CellFact",
    "DatedColumns",
    "DatedFlow",
    "Held",
    "Pair",
    "Point",
    "Scope",
    "StockBy",
    "StockRow",
    "Traced",
    "TracedFlow",
    "cell_balances",
    "cell_balances_from_now",
    "cell_ends",
    "cell_facts",
    "columns_of_spans",
    "dated_columns",
    "end_columns",
    "flows_across",
    "flows_of_lots",
    "held_at",
    "late_flows",
    "lots_that_share",
    "pair_flows",
    "period_columns",
    "source_labels",
    "stock",
    "traced_flows",
]
