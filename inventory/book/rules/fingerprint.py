"""The fingerprint of a closing: two people with the same one hold the same figures."""

import hashlib
from collections.abc import Mapping


def fingerprint(balances: Mapping[int, int]) -> str:
    """SHA-256 in hexadecimal of ``cell:number`` lines in the order of the cells; zeros left out."""
    lines = (f"{cell}:{n}\n" for cell, n in sorted(balances.items()) if n)
    return hashlib.sha256("".join(lines).encode("ascii")).hexdigest()
