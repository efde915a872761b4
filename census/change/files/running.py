"""That a period is not over, where a file has no head to say it in."""

from collections.abc import Iterable, Sequence
from typing import Any

from ..rules.words import NOT_OVER

Record = dict[str, Any]


def said_on_each(
    records: Iterable[Record], columns: Sequence[str], running: str
) -> tuple[Iterable[Record], Sequence[str]]:
    """The rows and columns of a csv; with ``running`` in a last column of each row, for rows are copied
    elsewhere and compared with those of periods that are over. Empty: as they are."""
    if not running:
        return records, columns
    return ({**record, NOT_OVER: running} for record in records), [*columns, NOT_OVER]
