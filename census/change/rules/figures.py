"""Which flows stand behind a figure, and how each of them counts in it.

A figure is one column of the change, one of the sums of the short form, or several columns of flows with a
plus between them, as a house adds them up under one heading: ``released+sent``. Columns that go the same way
are added; those of both ways, or with ``late`` among them, are netted.
"""

from .columns import BETWEEN_IN, BETWEEN_OUT, COLUMNS, FLOW_COLUMNS, HEADINGS, IN_COLUMNS, OUT_COLUMNS, SIGNS

# Figures of the short form that add several columns up, with the sign of each.
SUMS: dict[str, dict[str, int]] = {
    "in": {column: 1 for column in IN_COLUMNS if column != "found"},
    "out": {column: 1 for column in OUT_COLUMNS if column != "unaccounted"},
    "regrouped": {"regrouped_in": 1, "regrouped_out": -1},
    "between": {column: SIGNS[column] for column in (*BETWEEN_IN, *BETWEEN_OUT)},
}
# The two figures that share the deaths: the book says how many were young, not which.
YOUNG_FIGURES = ("died_within_30_days", "died")
FIGURES = (*(column for column in COLUMNS if not column.endswith("_mfu")), *SUMS)


# Of the closing, what is in the hands of others.
ELSEWHERE = "elsewhere"


# Every way from the opening to the closing: their net is the change.
EVERY_WAY = "+".join((*FLOW_COLUMNS, "late"))


def is_figure(figure: str) -> bool:
    """True for what can be asked about."""
    parts = figure.split("+")
    several = len(parts) > 1 and all(part in (*FLOW_COLUMNS, "late") for part in parts)
    return several or figure in (*FIGURES, ELSEWHERE)


def heading_of(figure: str) -> str:
    """What a person reads over a figure."""
    if figure == EVERY_WAY:
        return "change"
    words = {"in": "in", "out": "out", "between": "moved", "regrouped": "regrouped", ELSEWHERE: "lent out"}
    return ", ".join(HEADINGS.get(part, words.get(part, part)) for part in figure.split("+"))


def young_part(figure: str) -> str:
    """Which of the two columns of deaths a figure holds; empty for none or both."""
    held = {*figure.split("+")} & {*YOUNG_FIGURES}
    return held.pop() if len(held) == 1 else ""


def columns_of(figure: str) -> dict[str, int]:
    """Flow columns that a figure adds up, each with its sign; none for balances and late."""
    parts = figure.split("+")
    if len(parts) > 1:
        net = "late" in parts or len({SIGNS[part] for part in parts}) > 1
        signs = {part: SIGNS[part] if net else 1 for part in parts if part != "late"}
        return {"died" if part in YOUNG_FIGURES else part: sign for part, sign in signs.items()}
    if figure in YOUNG_FIGURES:
        return {"died": 1}
    return SUMS.get(figure, {figure: 1} if figure in FLOW_COLUMNS else {})


def in_balance(a_counts: bool, b_counts: bool, n: int) -> int:
    """What a flow does to a balance of which one end, both or neither is a part."""
    return n * (b_counts - a_counts)
