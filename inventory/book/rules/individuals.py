"""An individual is one animal: in one cell or in none, on every day of its history."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, tzinfo
from itertools import groupby

from .running import CellKey, FlowDraft


def first_breach(
    lot: str, history: Iterable[tuple[datetime, FlowDraft]], zone: tzinfo
) -> tuple[date, str] | None:
    """The first local day at whose end the individual would be doubled, halved or negative.

    Days and not moments are looked at, for a day's entries often lack the time: an arrival typed
    with its minute and a move typed without are no contradiction.
    """
    balances: dict[CellKey, int] = defaultdict(int)

    def day_of(entry: tuple[datetime, FlowDraft]) -> date:
        return entry[0].astimezone(zone).date()

    for day, entries in groupby(sorted(history, key=lambda entry: entry[0]), key=day_of):
        for _, flow in entries:
            balances[flow.from_cell] -= flow.n
            balances[flow.to_cell] += flow.n
        held = {cell: n for cell, n in balances.items() if cell.lot == lot and cell.inside and n}
        negative = [cell for cell, n in held.items() if n < 0]
        if negative:
            where = negative[0].account.partition(":")[2]
            return day, f"{lot} would leave {where} on {day} without being there"
        if sum(held.values()) > 1:
            where = " and ".join(sorted(cell.account.partition(":")[2] for cell in held))
            return day, f"{lot} would be held twice on {day}: {where}"
    return None
