"""Arranges the columns of the yearly stock list; what they were stays readable."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from inventory.people.models import Person

from ..models import StockListColumns
from ..queries.columns import columns_in_use
from ..rules.stock_list import ARRANGED, check


class NotArranged(Exception):
    """Columns that stay as they were; the message says why."""


@transaction.atomic
def arrange_columns(
    *, headings: Mapping[str, str], by: Person, now: datetime, why: str = ""
) -> StockListColumns | None:
    """Uses ``headings`` from ``now`` on; nothing when they are in use already."""
    arranged = {column: " ".join(words.split()) for column, words in headings.items()}
    problems = check(arranged)
    if problems:
        raise NotArranged("; ".join(problems))
    arranged = {column: arranged[column] for column in ARRANGED}
    if columns_in_use() == arranged:
        return None
    return StockListColumns.objects.create(headings=arranged, since=now, by=by, why=why.strip()[:300])
