"""How a figure is said on a page and on paper; in files it is a number, a share of the opening unrounded."""

from inventory.book.rules.words import MINUS, signed, whole

from .document import Column, Figure, Kind


def said_of(column: Column, figure: Figure) -> str:
    """Nothing is rounded but a per cent, beside which the animals stand; what is not there is a blank."""
    value = figure.value
    if value is None:
        return ""
    if isinstance(value, int):
        return signed(value) if column.kind is Kind.SIGNED else whole(value)
    if isinstance(value, float):
        return _percent(value)
    return value.replace("-", MINUS) if column.kind is Kind.MFU else value


def _percent(value: float) -> str:
    if not value:
        return ""
    return f"{value:+.0f} %".replace("-", MINUS) if abs(value) >= 1 else "under 1 %"
