"""The same quantities as of :mod:`.balances` and :mod:`.flows`, as whole columns.

A report of the house names a hundred thousand cells. Rows that become numbers in arrays at once, and sums
that are made there instead of by the database, take a third of the time of rows that become objects. What
those two modules answer is the definition, to which tests hold this one.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import numpy as np

from inventory.book.models import PeriodVersion
from inventory.book.rules.columns import SEXES, Amounts, EndColumns, Flows, Numbers, sums
from inventory.book.rules.period_columns import PeriodColumns, numbers_in

from .balances import in_and_out, more_than, summed
from .sql import among, known, moment, numbers, out_of_index, rows

# Taking back more flows than this costs more than reading all of them.
_TAKEN_BACK = 450_000

_Part = tuple[str, list[Any]]


def period_columns(
    *,
    earlier: datetime,
    start: datetime,
    end: datetime,
    opening_known: datetime | None,
    closing_known: datetime | None,
) -> PeriodColumns:
    """Balances before ``start`` and before ``end`` and what flowed, each end as known at its moment.

    The two balances come out of opposite ends of the book wherever there is a closing to start from: one
    out of the closing, the other out of the cells' cached balances, so that a report that ties proves both.
    Five queries at most.
    """
    opening, closing = _both_ends(start, end, opening_known, closing_known)
    return PeriodColumns(opening, closing, *_flows(earlier, start, end, opening_known, closing_known))


def versions_until(until: datetime) -> list[PeriodVersion]:
    """The closings of all boundaries up to a moment, the newest first. One query."""
    found = PeriodVersion.objects.filter(boundary__lte=until)
    return list(found.order_by("-boundary", "-closed_at", "-number"))


def _both_ends(
    start: datetime, end: datetime, opening_known: datetime | None, closing_known: datetime | None
) -> tuple[Amounts, Amounts]:
    versions = versions_until(end)
    opened = snapshot(versions, start, opening_known)
    closed = snapshot(versions, end, closing_known)
    if opened is None and closed is not None:
        opening = from_now(start, opening_known)
        if opening is not None:
            return opening, from_closing(closed, end, closing_known)
        return from_the_beginning(start, opening_known), from_closing(closed, end, closing_known)
    opening = (
        from_the_beginning(start, opening_known)
        if opened is None
        else from_closing(opened, start, opening_known)
    )
    closing = from_now(end, closing_known)
    return opening, from_the_beginning(end, closing_known) if closing is None else closing


def snapshot(
    versions: Sequence[PeriodVersion], before: datetime, known_at: datetime | None
) -> PeriodVersion | None:
    """The same as :func:`~.balances.latest_snapshot`, of versions that were read, the newest first."""
    return next(
        (
            version
            for version in versions
            if version.boundary <= before and (known_at is None or version.closed_at <= known_at)
        ),
        None,
    )


def from_the_beginning(before: datetime, known_at: datetime | None) -> Amounts:
    """The sum of all flows. One query."""
    every = in_and_out("f.effective_at < %s", [moment(before)], known_at, inside_only=True)
    sql, values = summed(every)
    return Amounts(*numbers(sql, values, 2))


def from_closing(version: PeriodVersion, before: datetime, known_at: datetime | None) -> Amounts:
    """What a closing kept, with what is dated after it and what was entered late. One query."""
    entered, more = known(known_at)
    boundary = moment(version.boundary)
    kept = "SELECT 0, cell_id, n FROM book_periodbalance WHERE version_id = %s"
    after = f"SELECT {ENDS_AND_N} WHERE f.effective_at >= %s AND f.effective_at < %s{entered}"
    late = f"SELECT {ENDS_AND_N} WHERE f.entered_at > %s AND {out_of_index('f.effective_at')} < %s{entered}"
    return _added(
        [
            (kept, [version.pk]),
            (after, [boundary, moment(before), *more]),
            (late, [moment(version.closed_at), boundary, *more]),
        ],
        sign=1,
    )


def from_now(before: datetime, known_at: datetime | None) -> Amounts | None:
    """The cached balances, with what came since taken back; None when that would be too much. Two queries,
    one of them to find that out."""
    conditions: list[_Part] = [("f.effective_at >= %s", [moment(before)])]
    if known_at is not None:
        late = f"f.entered_at > %s AND {out_of_index('f.effective_at')} < %s"
        conditions.append((late, [moment(known_at), moment(before)]))
    if more_than(_TAKEN_BACK, conditions):
        return None
    cached = "SELECT 0, id, balance FROM book_cell WHERE inside AND NOT balance = 0"
    taken = [(f"SELECT {ENDS_AND_N} WHERE {condition}", values) for condition, values in conditions]
    return _added([(cached, []), *taken], sign=-1)


# 0 stands for no cell: what a closing or a cell holds came from nowhere.
ENDS_AND_N = "f.from_cell_id, f.to_cell_id, f.n FROM book_flow f"


def _added(parts: list[_Part], *, sign: int) -> Amounts:
    """What is held, the first part, and the flows of the other parts, each ``sign`` times. One query."""
    sql = " UNION ALL ".join(part for part, _ in parts)
    from_cell, to_cell, n = numbers(sql, [value for _, values in parts for value in values], 3)
    flow = from_cell > 0
    moved = sign * n[flow]
    cells = np.concatenate([to_cell, from_cell[flow]])
    added = np.concatenate([np.where(flow, sign * n, n), -moved])
    # Cells are numbered one after another, so that the sums have room in an array of all of them.
    held = sums(cells, added, int(cells.max(initial=0)) + 1)
    found = np.flatnonzero(held).astype(np.int64)
    return Amounts(found, held[found])


def _flows(
    earlier: datetime,
    start: datetime,
    end: datetime,
    known_from: datetime | None,
    known_until: datetime | None,
) -> tuple[Flows, Flows, Flows]:
    """Flows of the period, of the days before it, and late ones. One query."""
    entered, more = known(known_until)
    sql = (
        "SELECT CASE WHEN f.effective_at < %s THEN 1 ELSE 0 END, f.from_cell_id, f.to_cell_id,"
        " CASE WHEN f.reversal THEN -f.n ELSE f.n END FROM book_flow f"
        f" WHERE f.effective_at >= %s AND f.effective_at < %s{entered}"
    )
    values = [moment(start), moment(earlier), moment(end), *more]
    runs = between(known_from, known_until)
    if runs is not None:
        first, last, _ = runs
        entered, more = known(last)
        late = f"f.entered_at > %s AND {out_of_index('f.effective_at')} < %s{entered}"
        sql += f" UNION ALL SELECT 2, {ENDS_AND_N} WHERE {late}"
        values += [moment(first), moment(start), *more]
    part, a, b, n = numbers(sql, values, 4)
    back = (n < 0) & (part < 2)
    late_sign = 1 if runs is None else runs[2]
    both = Flows(np.where(back, b, a), np.where(back, a, b), np.where(part == 2, late_sign * n, n))
    return both.of(part == 0), both.of(part == 1), both.of(part == 2)


def between(
    known_from: datetime | None, known_until: datetime | None
) -> tuple[datetime, datetime | None, int] | None:
    """The earlier and the later of two knowledges (None: now), and -1 where they run backwards."""
    if known_from == known_until:
        return None
    if known_from is not None and (known_until is None or known_from < known_until):
        return known_from, known_until, 1
    return (known_until, known_from, -1) if known_until is not None else None


# Every number that a row has costs a report of all cells some hundredths of a second: three in place of four.
_CODES = 2 * len(SEXES)
_CELLS = f"""
SELECT c.id, c.lot_id, c.account_id * {_CODES}
       + CASE c.sex {" ".join(f"WHEN '{sex}' THEN {i}" for i, sex in enumerate(SEXES))} END
       + CASE c.standing WHEN 'missing' THEN {len(SEXES)} ELSE 0 END
  FROM book_cell c
 WHERE """
# Accounts are few and come with the lots, under their number with a minus.
_LOTS = "SELECT l.id, l.taxon_id, l.unit, l.owner FROM book_lot l WHERE "
_OFF_SITE = "off_site"
_ACCOUNTS = """
SELECT -a.id, COALESCE(a.place_id, 0), a.cause, COALESCE(p.kind, '')
  FROM book_account a LEFT JOIN book_place p ON p.id = a.place_id"""


def end_columns(cells: Numbers) -> EndColumns:
    """What cells are, told by their numbers in order, each once. Two queries."""
    condition, ids = among("c.id", cells.tolist())
    found = numbers(_CELLS + condition, ids, 3)
    number, lot, coded = found[:, np.argsort(found[0], kind="stable")]
    account, code = coded // _CODES, coded % _CODES
    lots = numbers_in([lot])
    condition, ids = among("l.id", lots.tolist())
    told, belongs, words, more_words = zip(
        *rows(f"{_LOTS}{condition} UNION ALL {_ACCOUNTS}", ids), strict=True
    )
    every = np.array(told, dtype=np.int64)
    order = np.argsort(every)
    position = every[order]
    # Where each cell's lot and account stand among what was told.
    of_lot, of_account = (order[np.searchsorted(position, wanted)] for wanted in (lot, -account))
    belongs_to = np.array(belongs, dtype=np.int64)
    units, unit = _coded(words)
    owners, owner = _coded(more_words)
    return EndColumns(
        cell=number,
        lot=lot,
        taxon=belongs_to[of_lot],
        unit=unit[of_lot],
        owner=owner[of_lot],
        place=belongs_to[of_account],
        off_site=owner[of_account] == owners.index(_OFF_SITE),
        sex=code % len(SEXES),
        missing=code >= len(SEXES),
        cause=unit[of_account],
        units=units,
        owners=owners,
        causes=units,
    )


def _coded(words: Iterable[str]) -> tuple[tuple[str, ...], Numbers]:
    """Every word once, and the position of each in that. The empty word is 0."""
    told = list(words)
    every = tuple(dict.fromkeys(["", _OFF_SITE, *told]))
    code = {word: i for i, word in enumerate(every)}
    return every, np.fromiter(map(code.__getitem__, told), np.int64, len(told))
