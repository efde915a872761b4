"""Causes that lie in what was entered of a line's lots: twice, without a reason, not yet, never."""

import math
import re
from calendar import month_abbr
from collections.abc import Iterator
from datetime import date, datetime
from itertools import pairwise

from inventory.book.rules.kinds import ARRIVALS, DEPARTURES

from .causes import Cause
from .facts import HouseFacts, Line, Passage
from .possible import Hints, Possible, possible, usual_size

_ACROSS = (*ARRIVALS, *DEPARTURES)
# Half of the slips that are out at a count are in after so many days; *common practice, no source*.
HALF_OF_SLIPS_IN = 2.0


def entries(line: Line, house: HouseFacts) -> Iterator[Possible]:
    yield from _below_zero(line, house)
    yield from _twice(line, house)
    yield from _edited(line, house)
    yield from _letter(line, house)
    yield from _late_death(line, house)


def _below_zero(line: Line, house: HouseFacts) -> Iterator[Possible]:
    if line.book >= 0 or line.difference <= 0:
        return
    births = [p.happened_at for p in line.passages if p.kind == "born"]
    since, until = house.span(max(births, default=None), line.moment)
    kind = "births" if births or line.counts_in_from else "arrivals, births or a move in"
    yield possible(
        Cause.BELOW_ZERO,
        house,
        f"the book has {line.book}: {kind} were never entered, about {line.difference}",
        gains=line,
        most=line.difference,
        mean=max(20, line.difference),
        hints=Hints(since=since, until=until, reason="late birth entry"),
    )


def _twice(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """Two like entries within minutes of each other, one of which may have to go."""
    ordered = sorted(line.passages, key=lambda one: (one.lot, one.kind, one.n, one.entered_at, one.event))
    for first, second in pairwise(ordered):
        alike = (first.lot, first.kind, first.n) == (second.lot, second.kind, second.n)
        if not alike or first.kind not in _ACROSS or first.event == second.event:
            continue
        apart = (second.entered_at - first.entered_at).total_seconds()
        same_hour = abs((second.happened_at - first.happened_at).total_seconds()) < 3600
        if apart > house.double_minutes * 60 or not same_hour:
            continue
        words = f"{second.words}, entered twice by {second.entered_by}, {apart:.0f} s apart"
        yield _taken_back(Cause.DOUBLE, line, second, words, house)


def _edited(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """An adjustment with neither reason nor approval: the number was changed, and nobody says why."""
    for one in line.passages:
        if one.unfounded and line.moment and one.happened_at <= line.moment:
            words = f"{one.words}, by {one.entered_by}, has neither reason nor approval"
            yield _taken_back(Cause.EDITED, line, one, words, house)


def _taken_back(cause: Cause, line: Line, entry: Passage, words: str, house: HouseFacts) -> Possible:
    """An entry that changed the book by ``n`` too much: without it the book had ``-n`` more."""
    return possible(
        cause,
        house,
        words,
        gains=line if entry.n < 0 else None,
        loses=line if entry.n > 0 else None,
        most=abs(entry.n),
        whole=True,
        name=entry.event,
        hints=Hints(event=entry.event, reason="double entry" if cause is Cause.DOUBLE else "typing"),
    )


def _letter(line: Line, house: HouseFacts) -> Iterator[Possible]:
    if not (line.off_site and line.difference < 0 and line.party):
        return
    yield possible(
        Cause.LETTER,
        house,
        f"{line.party}: {line.remark}" if line.remark else f"told by {line.party}",
        loses=line,
        most=-line.difference,
        mean=max(1.5, -line.difference),
        hints=Hints(
            accessions=tuple(one.accession for one in line.not_seen),
            until=house.span(None, line.moment)[1],
            happened=_day_told(line.remark, line.moment),
            reason="late death entry",
        ),
    )


_DAY_TOLD = re.compile(r"died (?:on )?(\d{1,2}) (" + "|".join(month_abbr[1:]) + ")")


def _day_told(words: str, moment: datetime | None) -> str:
    """ "died 22 Aug" as a day before the letter; nothing where no day is told."""
    told = _DAY_TOLD.search(words)
    if told is None or moment is None:
        return ""
    month = list(month_abbr).index(told[2])
    year = moment.year if (month, int(told[1])) <= (moment.month, moment.day) else moment.year - 1
    try:
        return date(year, month, int(told[1])).isoformat()
    except ValueError:
        return ""


def _late_death(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """Deaths that may lie on a slip: as likely as the lot dies often, and the slip is still young."""
    deaths = sum(1 for p in line.passages if p.kind == "died" and p.n < 0)
    if line.difference >= 0 or not deaths or line.individuals or line.off_site:
        return
    days = (house.now - line.moment).total_seconds() / 86400 if house.now and line.moment else 0.0
    still_out = math.pow(0.5, max(days, 0) / HALF_OF_SLIPS_IN)
    yield possible(
        Cause.LATE_DEATH,
        house,
        f"{deaths} entries of deaths in the period, and slips come late: ask for them before deciding",
        loses=line,
        most=-line.difference,
        share=min(deaths, 10) * still_out,
        mean=usual_size(line, 2),
        hints=Hints(reason="late death entry"),
    )
