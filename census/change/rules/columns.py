"""The columns of the population change, in their order, and which way each one counts."""

from inventory.book.rules.kinds import ARRIVALS, DEPARTURES

# Arrivals into the scope, then departures from it; "opening" is no arrival, for stock that is
# loaded inside the period belongs to what the period began with.
IN_COLUMNS = (
    "taken",
    "received",
    "loan_in",
    "back_from_loan",
    "born",
    "divided",
    "settled",
    "found",
)
OUT_COLUMNS = (
    "died_within_30_days",
    "died",
    "put_down",
    "released",
    "sent",
    "loan_out",
    "given_back",
    "unaccounted",
)
# Between rows of one report: their sums over the house are zero.
BETWEEN_IN = ("moved_in", "regrouped_in")
BETWEEN_OUT = ("moved_out", "regrouped_out")

COLUMNS = (
    "opening",
    *IN_COLUMNS,
    *OUT_COLUMNS,
    "moved_in",
    "moved_out",
    "regrouped_in",
    "regrouped_out",
    "late",
    "closing",
    "opening_mfu",
    "closing_mfu",
    "missing",
)
NUMBER_COLUMNS = tuple(column for column in COLUMNS if not column.endswith("_mfu"))
# Columns that events fill; each of their figures is the sum of flows.
FLOW_COLUMNS = (*IN_COLUMNS, *OUT_COLUMNS, *BETWEEN_IN, *BETWEEN_OUT)

# +1 or -1: how a column enters the closing.
SIGNS: dict[str, int] = {
    "opening": 1,
    "late": 1,
    **dict.fromkeys((*IN_COLUMNS, *BETWEEN_IN), 1),
    **dict.fromkeys((*OUT_COLUMNS, *BETWEEN_OUT), -1),
}

ARRIVAL_CAUSES = frozenset(kind.value for kind in ARRIVALS)
DEPARTURE_CAUSES = frozenset(kind.value for kind in DEPARTURES)

# What a person reads over a column.
HEADINGS = {
    "opening": "opening",
    "taken": "collected",
    "received": "bought, exchanged or given",
    "loan_in": "loan in",
    "back_from_loan": "back from loan",
    "born": "born or hatched",
    "divided": "divided",
    "settled": "settled",
    "found": "found",
    "died_within_30_days": "died within 30 days",
    "died": "died",
    "put_down": "put down",
    "released": "released",
    "sent": "sent on",
    "loan_out": "loan out",
    "given_back": "given back",
    "unaccounted": "unaccounted for",
    "moved_in": "moved in",
    "moved_out": "moved out",
    "regrouped_in": "regrouped in",
    "regrouped_out": "regrouped out",
    "late": "late from earlier period",
    "closing": "closing",
    "opening_mfu": "opening m.f.u",
    "closing_mfu": "closing m.f.u",
    "missing": "of closing: missing",
}
