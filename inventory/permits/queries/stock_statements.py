"""Statements of stock: which a permit wanted until a day, and which went out."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from ..models import StatementSent
from ..rules.due import statement_days
from .reading import PermitRead


@dataclass(frozen=True, slots=True)
class Statements:
    """Those of one permit. ``wanted`` are the days that were not yet written down as sent, oldest first."""

    sent: Sequence[StatementSent]
    wanted: Sequence[date]


def stock_statements(reads: Sequence[PermitRead], *, on: date) -> dict[int, Statements]:
    """By permit, for those that want any. One query."""
    asking = [read for read in reads if read.version.stock_statement]
    sent: defaultdict[int, list[StatementSent]] = defaultdict(list)
    rows = StatementSent.objects.select_related("entered_by").filter(
        permit__in=[read.permit.pk for read in asking]
    )
    for row in rows:
        sent[row.permit_id].append(row)
    return {read.permit.pk: _of(read, sent[read.permit.pk], on) for read in asking}


def _of(read: PermitRead, sent: Sequence[StatementSent], on: date) -> Statements:
    days = statement_days(
        every=read.version.stock_statement,
        valid_from=read.since if read.since != date.min else read.first_valid_from,
        valid_until=read.version.valid_until,
        on=on,
    )
    told = {row.as_of for row in sent}
    return Statements(sent, [day for day in days if day not in told])
