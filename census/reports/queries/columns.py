"""The columns of the yearly stock list that are in use."""

from ..models import StockListColumns
from ..rules.stock_list import DEFAULT, check


def columns_in_use() -> dict[str, str]:
    """Heading by column of the change: as the house arranged them last, else the default. One query.

    An arrangement of an older program that lacks a column of today is passed over.
    """
    newest = StockListColumns.objects.order_by("-since", "-id").first()
    return dict(DEFAULT) if newest is None or check(newest.headings) else dict(newest.headings)
