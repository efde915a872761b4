"""m.f.u: the trade's way of printing males, females and the rest. Printed, never parsed."""


def mfu(males: int, females: int, hermaphrodites: int, unknown: int) -> str:
    """``2.6.1``: hermaphrodites are printed with the unknown.

    *Common practice of the trade, no single source*.
    """
    return f"{males}.{females}.{hermaphrodites + unknown}"
