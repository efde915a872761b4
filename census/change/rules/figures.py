"""Which flows stand behind a figure, and how each of them counts in it."""

from .columns import BETWEEN_IN, BETWEEN_OUT, COLUMNS, FLOW_COLUMNS, IN_COLUMNS, OUT_COLUMNS, SIGNS

# Figures of the short form that add several columns up, with the sign of each.
SUMS: dict[str, dict[str, int]] = {
    "in": {column: 1 for column in IN_COLUMNS if column != "found"},
    "out": {column: 1 for column in OUT_COLUMNS if column != "unaccounted"},
    "between": {column: SIGNS[column] for column in (*BETWEEN_IN, *BETWEEN_OUT)},
}
# The two figures that share the deaths: the book says how many were young, not which.
YOUNG_FIGURES = ("died_within_30_days", "died")
FIGURES = (*(column for column in COLUMNS if not column.endswith("_mfu")), *SUMS)


def columns_of(figure: str) -> dict[str, int]:
    """Flow columns that a figure adds up, each with its sign; none for balances and late."""
    if figure in YOUNG_FIGURES:
        return {"died": 1}
    return SUMS.get(figure, {figure: 1} if figure in FLOW_COLUMNS else {})


def in_balance(a_counts: bool, b_counts: bool, n: int) -> int:
    """What a flow does to a balance of which one end, both or neither is a part."""
    return n * (b_counts - a_counts)
