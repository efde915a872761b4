"""Names the list that a sheet was printed with: the same mark, the same list."""

import hashlib
import json
from collections.abc import Sequence

LETTERS = 6
"""Of the hash; enough to tell a few lists of one sheet apart at a glance."""


def list_mark(version: str, parts: Sequence[object]) -> str:
    """``1-3fa9c2``: the list version and the first letters of the SHA-256 of all that is printed."""
    text = json.dumps(parts, ensure_ascii=False, separators=(",", ":"))
    return f"{version}-{hashlib.sha256(text.encode()).hexdigest()[:LETTERS]}"
