"""The columns of several periods, as of quarters that follow each other, out of one reading.

What :func:`.columns.period_columns` answers of each by itself is the definition, to which tests hold this.
"""

from bisect import bisect_left
from collections.abc import Sequence
from datetime import datetime
from functools import cache
from typing import Any

import numpy as np

from inventory.book.models import PeriodVersion
from inventory.book.rules.columns import Amounts, Flows, sums
from inventory.book.rules.period_columns import PeriodColumns, Span

from .columns import (
    ENDS_AND_N,
    between,
    from_closing,
    from_now,
    from_the_beginning,
    snapshot,
    versions_until,
)
from .sql import known, moment, numbers, out_of_index


def columns_of_spans(spans: Sequence[Span]) -> list[PeriodColumns]:
    """The columns of several periods.

    All flows are read once. Each boundary, as known at one moment, is read out of a closing where there is
    one to start from. The cells' cached balances tell those before the first closing, by going back all the
    way, and the last boundary too where that is not closed itself or the first one is. So every closing and
    the cache are proved by the flows between them; without any closing the first boundary is the sum of all
    flows. One query for each boundary, at most four more.
    """
    flows = _SpanFlows(spans)
    last = max(span.end for span in spans)
    versions = versions_until(last)
    # Those out of no closing, the newest of each knowledge: the next one goes on from there.
    summed_up: dict[datetime | None, tuple[datetime, Amounts]] = {}

    closed = [snapshot(versions, span.end, span.closing_known) for span in spans if span.end == last]
    from_behind = all(version is not None and version.boundary == last for version in closed) and any(
        snapshot(versions, span.start, span.opening_known) is None for span in spans
    )

    @cache
    def cached(known_at: datetime | None) -> Amounts | None:
        return from_now(last, known_at)

    @cache
    def held(before: datetime, known_at: datetime | None) -> Amounts:
        at_the_end = cached(known_at) if before == last and not from_behind else None
        return _inner(before, known_at) if at_the_end is None else at_the_end

    def _inner(before: datetime, known_at: datetime | None) -> Amounts:
        version = snapshot(versions, before, known_at)
        if version is not None:
            return from_closing(version, before, known_at)
        found = _gone_on(before, known_at)
        summed_up[known_at] = (before, found)
        return found

    def _gone_on(before: datetime, known_at: datetime | None) -> Amounts:
        if known_at in summed_up:
            since, earlier = summed_up[known_at]
            return flows.gone_on(earlier, since, before, known_at)
        # With no closing on the way back nothing would prove what the cache says.
        now = cached(known_at) if flows.lead_to_a_closing(versions, before, known_at) else None
        if now is None:
            return from_the_beginning(before, known_at)
        return flows.gone_on(now, last, before, known_at)

    return [
        PeriodColumns(
            held(span.start, span.opening_known),
            held(span.end, span.closing_known),
            *flows.of(i, span),
        )
        for i, span in enumerate(spans)
    ]


class _SpanFlows:
    """The flows of all spans, in the order of the moments at which one of them begins or ends, each with how
    many of the knowledges it is younger than; and the late ones of each span."""

    def __init__(self, spans: Sequence[Span]) -> None:
        """One query."""
        self._cuts = sorted({cut for span in spans for cut in (span.earlier, span.start, span.end)})
        told = {known_at for span in spans for known_at in (span.opening_known, span.closing_known)}
        self._knowledges = sorted(known_at for known_at in told if known_at is not None)
        parts = [self._between_cuts(i) for i in range(len(self._cuts) - 1)]
        parts += [part for i, span in enumerate(spans) if (part := self._late(i, span))]
        sql = " UNION ALL ".join(part for part, _ in parts)
        found = numbers(sql, [value for _, values in parts for value in values], 4)
        # Databases give the parts as they were asked, but promise no order.
        coded, a, b, self._n = found[:, np.argsort(found[0], kind="stable")]
        self._part, self._younger = np.divmod(coded, len(self._knowledges) + 1)
        # A reversal stands as what it takes back, with a minus.
        back = self._n < 0
        self._from, self._to = np.where(back, b, a), np.where(back, a, b)

    def _between_cuts(self, i: int) -> tuple[str, list[Any]]:
        """The flows from one cut to the next, as part ``i``: one number tells it and the knowledges."""
        number = len(self._knowledges)
        first = i * (number + 1)
        younger = "".join(f" WHEN f.entered_at <= %s THEN {first + k}" for k in range(number))
        code = f"CASE{younger} ELSE {first + number} END" if younger else str(first)
        sql = (
            f"SELECT {code}, f.from_cell_id, f.to_cell_id,"
            " CASE WHEN f.reversal THEN -f.n ELSE f.n END FROM book_flow f"
            " WHERE f.effective_at >= %s AND f.effective_at < %s"
        )
        values = [*self._knowledges, self._cuts[i], self._cuts[i + 1]]
        return sql, [moment(value) for value in values]

    def of(self, i: int, span: Span) -> tuple[Flows, Flows, Flows]:
        """Those of the period, of the days before it, and the late ones."""
        late = self._flows(slice(*np.searchsorted(self._part, (-1 - i, -i))))
        runs = between(span.opening_known, span.closing_known)
        return (
            self._known(span.start, span.end, span.closing_known),
            self._known(span.earlier, span.start, span.closing_known),
            late if runs is None else Flows(late.from_cell, late.to_cell, runs[2] * late.n),
        )

    def lead_to_a_closing(
        self, versions: Sequence[PeriodVersion], after: datetime, known_at: datetime | None
    ) -> bool:
        """Whether a closing stands at a cut behind this one."""
        found = (snapshot(versions, cut, known_at) for cut in self._cuts if cut > after)
        return any(version is not None and version.boundary > after for version in found)

    def gone_on(self, held: Amounts, since: datetime, before: datetime, known_at: datetime | None) -> Amounts:
        """What was held at one cut with all that flowed until another, or less that where it is an earlier
        one."""
        sign = 1 if since <= before else -1
        flowed = self._known(min(since, before), max(since, before), known_at)
        cells = np.concatenate([held.cell, flowed.to_cell, flowed.from_cell])
        n = sign * flowed.n
        total = sums(cells, np.concatenate([held.n, n, -n]), int(cells.max(initial=0)) + 1)
        found = np.flatnonzero(total).astype(np.int64)
        return Amounts(found, total[found])

    def _known(self, since: datetime, before: datetime, known_at: datetime | None) -> Flows:
        """The flows between two cuts that were entered by a moment (None: all)."""
        parts = [bisect_left(self._cuts, cut) for cut in (since, before)]
        which = slice(*np.searchsorted(self._part, parts))
        flows = self._flows(which)
        if known_at is None:
            return flows
        return flows.of(self._younger[which] <= bisect_left(self._knowledges, known_at))

    def _flows(self, which: slice) -> Flows:
        return Flows(self._from[which], self._to[which], self._n[which])

    def _late(self, i: int, span: Span) -> tuple[str, list[Any]] | None:
        """What one knowledge of the time before a span has and the other has not, as part ``-1 - i``."""
        runs = between(span.opening_known, span.closing_known)
        if runs is None:
            return None
        first, until, _ = runs
        entered, more = known(until)
        late = f"f.entered_at > %s AND {out_of_index('f.effective_at')} < %s{entered}"
        sql = f"SELECT {(-1 - i) * (len(self._knowledges) + 1)}, {ENDS_AND_N} WHERE {late}"
        return sql, [moment(first), moment(span.start), *more]
