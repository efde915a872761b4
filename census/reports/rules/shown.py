"""How a figure is said on a page and on paper; in files it is a number."""

from inventory.book.rules.words import MINUS, signed, whole

from .document import Column, Figure, Kind


def said_of(column: Column, figure: Figure) -> str:
    """Nothing is rounded; a number that is not there is a blank."""
    value = figure.value
    if value is None:
        return ""
    if isinstance(value, int):
        return signed(value) if column.kind is Kind.SIGNED else whole(value)
    if column.kind is Kind.MFU:
        return value.replace("-", MINUS)
    # A share in words, "-4 %", is a number too.
    return f"{MINUS}{value[1:]}" if value[:1] == "-" and value[1:2].isdigit() else value
