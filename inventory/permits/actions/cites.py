"""Writes how an event crossed a border. A correction is a new row; the newest holds."""

import re
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction

from inventory.book.rules.drafts import Problem
from inventory.people.models import Person

from ..models import TradeFacts
from ..queries.cites import Crossing
from ..readers.cites_codes import PURPOSE, SOURCE, TERMS, UNITS, code_list
from ..rules.cites import Trade

_COUNTRY = re.compile(r"[A-Z]{2}")
_OUTWARD = (Trade.EXPORT, Trade.REEXPORT)
_INWARD = (Trade.IMPORT, Trade.INTRODUCTION)


class TradeRefused(Exception):
    """A statement that cannot be; ``problems`` say what to change."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("; ".join(problem.message for problem in problems))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class TradeStated:
    """What is said of one kind of animal in one event; codes old or new."""

    trade: Trade
    country: str = ""
    origin: str = ""
    source: str = ""
    purpose: str = ""
    term: str = ""
    unit: str = ""
    quantity: Decimal | None = None
    papers: str = ""
    why: str = ""


@transaction.atomic
def state_trade(*, crossing: Crossing, stated: TradeStated, by: Person, now: datetime) -> TradeFacts:
    """Keeps the statement. Raises :class:`TradeRefused`."""
    if stated.trade is Trade.NONE:
        return TradeFacts.objects.create(
            event=crossing.event,
            taxon=crossing.taxon,
            trade=Trade.NONE.value,
            why=stated.why,
            entered_at=now,
            entered_by=by,
        )
    problems: list[Problem] = []
    codes = {}
    for column, name in (("source", SOURCE), ("purpose", PURPOSE), ("term", TERMS), ("unit", UNITS)):
        try:
            codes[column] = code_list(name).now(getattr(stated, column))
        except ValueError as error:
            problems.append(Problem(0, "", column, str(error)))
    problems += _wrong(crossing, stated)
    if problems:
        raise TradeRefused(problems)
    return TradeFacts.objects.create(
        event=crossing.event,
        taxon=crossing.taxon,
        trade=stated.trade.value,
        country=stated.country.upper(),
        origin=stated.origin.upper(),
        quantity=stated.quantity,
        papers=stated.papers,
        why=stated.why,
        entered_at=now,
        entered_by=by,
        **codes,
    )


def _wrong(crossing: Crossing, stated: TradeStated) -> list[Problem]:
    found = []
    if stated.trade in _OUTWARD and crossing.inward:
        found.append(("trade", f"these animals came: it is no {stated.trade.words}"))
    if stated.trade in _INWARD and not crossing.inward:
        found.append(("trade", f"these animals left: it is no {stated.trade.words}"))
    if stated.quantity is None or stated.quantity <= 0:
        found.append(("quantity", "say how much, more than nothing"))
    # What comes from the high sea comes from no country.
    if stated.trade is not Trade.INTRODUCTION and not stated.country:
        found.append(("country", "say which country it came from or went to"))
    if stated.trade is Trade.REEXPORT and not stated.origin:
        found.append(("origin", "a re-export has a country of origin"))
    for column in ("country", "origin"):
        written = getattr(stated, column).upper()
        if written and not _COUNTRY.fullmatch(written):
            found.append(
                (column, f"{written!r} is no country; expected two letters (ISO 3166-1), such as NO")
            )
    return [Problem(0, "", column, message) for column, message in found]
