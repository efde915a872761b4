"""How many animals each cell holds as of a moment, as known at another.

A balance is the sum of flows in less the sum of flows out. It comes out of the covering
indexes of ``book_flow``: two GROUP BYs added. Where a period has been closed, its snapshot
stands in for all that was dated before its end and known at its closing, and only three
things are still read: the snapshot, what is dated after it, and what was entered late.
"""

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.models import QuerySet

from inventory.book.models import PeriodVersion, Sex, Standing

from .sql import known, moment, moment_text, out_of_index, rows


@dataclass(frozen=True, slots=True)
class Held:
    """Whole animals by sex. ``missing`` says how many of them are not being seen; they are part
    of the four numbers and of the total."""

    males: int = 0
    females: int = 0
    hermaphrodites: int = 0
    unknown: int = 0
    missing: int = 0

    @property
    def total(self) -> int:
        """All animals, present and missing."""
        return self.males + self.females + self.hermaphrodites + self.unknown


@dataclass(frozen=True, slots=True)
class Point:
    """A question: what does this lot hold in this place before that moment?"""

    lot_id: int
    place_id: int
    before: datetime


def cell_balances(
    *, before: datetime, known_at: datetime | None = None, snapshots: bool = True
) -> dict[int, int]:
    """Animals by inside cell from flows with ``effective_at < before``; zeros are left out.

    ``known_at`` counts only what had been entered by then. ``snapshots=False`` reads every flow
    and trusts no snapshot. At most two queries.
    """
    version = latest_snapshot(before=before, known_at=known_at) if snapshots else None
    if version is None:
        return _held(in_and_out("f.effective_at < %s", [moment(before)], known_at, inside_only=True))
    boundary = moment(version.boundary)
    kept = "SELECT cell_id AS cell, n FROM book_periodbalance WHERE version_id = %s"
    after = in_and_out("f.effective_at >= %s AND f.effective_at < %s", [boundary, moment(before)], known_at)
    late = in_and_out(
        f"f.entered_at > %s AND {out_of_index('f.effective_at')} < %s",
        [moment(version.closed_at), boundary],
        known_at,
    )
    return _held([(kept, [version.pk]), *after, *late])


# Taking back more flows than this costs more than reading all of them.
_TAKEN_BACK = 150_000


def cell_balances_from_now(*, before: datetime, known_at: datetime | None = None) -> dict[int, int]:
    """The same figures as :func:`cell_balances`, out of the other end of the book.

    Takes the cells' cached balances and takes back what is dated at or after ``before`` and what
    was entered after ``known_at``. Compared with balances that come from flows or snapshots, it
    finds a wrong cache or a wrong snapshot. When too much would have to be taken back, every flow
    is read instead. Two queries.
    """
    later, values = "f.effective_at >= %s", [moment(before)]
    unknown: list[tuple[str, list[Any]]] = []
    if known_at is not None:
        condition = f"f.entered_at > %s AND {out_of_index('f.effective_at')} < %s"
        unknown.append((condition, [moment(known_at), moment(before)]))
    conditions = [(later, values), *unknown]
    if more_than(_TAKEN_BACK, conditions):
        return cell_balances(before=before, known_at=known_at, snapshots=False)
    cached = "SELECT id AS cell, balance AS n FROM book_cell WHERE inside AND balance <> 0"
    taken_back = [
        part for condition, more in conditions for part in in_and_out(condition, more, None, back=True)
    ]
    return _held([(cached, []), *taken_back])


def more_than(number: int, conditions: list[tuple[str, list[Any]]]) -> bool:
    """Whether more than ``number`` flows fulfil the conditions; looks at no more than that."""
    counts = [
        f"(SELECT COUNT(*) FROM (SELECT 1 FROM book_flow f WHERE {condition} LIMIT {number + 1}) AS found)"
        for condition, _ in conditions
    ]
    found = rows("SELECT " + " + ".join(counts), [value for _, values in conditions for value in values])
    return int(found[0][0]) > number


def _held(parts: list[tuple[str, list[Any]]]) -> dict[int, int]:
    """Animals by inside cell. One query."""
    return {cell: int(n) for cell, n in rows(*summed(parts))}


def summed(parts: list[tuple[str, list[Any]]]) -> tuple[str, list[Any]]:
    """The query that adds up parts of (cell, n), inside cells only, zeros left out."""
    sql = (
        "SELECT b.cell, CAST(b.n AS bigint) FROM (SELECT cell, SUM(n) AS n FROM ("
        + " UNION ALL ".join(sql for sql, _ in parts)
        + ") AS both_ways GROUP BY cell HAVING SUM(n) <> 0) AS b"
        + " JOIN book_cell c ON c.id = b.cell WHERE c.inside"
    )
    return sql, [value for _, values in parts for value in values]


def latest_snapshot(*, before: datetime, known_at: datetime | None) -> PeriodVersion | None:
    """The newest closing that a balance before ``before``, known at ``known_at``, can start from."""
    versions: QuerySet[PeriodVersion] = PeriodVersion.objects.filter(boundary__lte=before)
    if known_at is not None:
        versions = versions.filter(closed_at__lte=known_at)
    return versions.order_by("-boundary", "-closed_at", "-number").first()


def in_and_out(
    condition: str,
    values: list[Any],
    known_at: datetime | None,
    *,
    inside_only: bool = False,
    back: bool = False,
) -> list[tuple[str, list[Any]]]:
    """Sums by cell of flows in and, below zero, of flows out; ``back`` the other way round.

    ``inside_only`` drops outside cells before they are grouped: worth its look-up when all flows
    are read, not when a few are.
    """
    entered, more = known(known_at)
    parts = []
    for end, sign in (("to", "-" if back else ""), ("from", "" if back else "-")):
        cell = f"f.{end}_cell_id"
        inside = f" AND {cell} IN (SELECT id FROM book_cell WHERE inside)" if inside_only else ""
        # The plus hides the index that is in the order of the cells: of a few flows that were found
        # by their moment, it would read the whole.
        order = cell if inside_only else f"+{cell}"
        parts.append(
            (
                f"SELECT {order} AS cell, {sign}SUM(f.n) AS n FROM book_flow f"
                f" WHERE {condition}{entered}{inside} GROUP BY {order}",
                [*values, *more],
            )
        )
    return parts


_POINTS = {
    "sqlite": (
        "SELECT key AS i, json_extract(value, '$.lot') AS lot_id,"
        " json_extract(value, '$.place') AS place_id, json_extract(value, '$.upto') AS upto"
        " FROM json_each(%s)"
    ),
    "postgresql": (
        "SELECT i, lot AS lot_id, place AS place_id, upto"
        " FROM json_to_recordset(%s::json) AS p(i int, lot bigint, place bigint, upto timestamptz)"
    ),
}


def held_at(points: Sequence[Point], *, known_at: datetime | None = None) -> list[Held]:
    """What is held at each point, in the order of ``points``; each point has its own moment.

    One query however many points there are: each cell of a point is summed by two seeks in the
    covering indexes.
    """
    if not points:
        return []
    entered, more = known(known_at)
    flows = (
        "COALESCE((SELECT SUM(f.n) FROM book_flow f"
        f" WHERE f.{{end}}_cell_id = c.id AND f.effective_at < p.upto{entered}), 0)"
    )
    sql = (
        f"WITH points AS ({_POINTS[connection.vendor]})"
        f" SELECT p.i, c.sex, c.standing, SUM({flows.format(end='to')} - {flows.format(end='from')})"
        " FROM points p JOIN book_account a ON a.place_id = p.place_id"
        " JOIN book_cell c ON c.lot_id = p.lot_id AND c.account_id = a.id"
        " GROUP BY p.i, c.sex, c.standing"
    )
    asked = json.dumps(
        [
            {"i": i, "lot": point.lot_id, "place": point.place_id, "upto": moment_text(point.before)}
            for i, point in enumerate(points)
        ]
    )
    parts: list[list[tuple[str, str, int]]] = [[] for _ in points]
    for i, sex, standing, n in rows(sql, [asked, *more, *more]):
        parts[int(i)].append((sex, standing, int(n)))
    return [held_sum(part) for part in parts]


def held_sum(parts: Iterable[tuple[str, str, int]]) -> Held:
    """One :class:`Held` out of (sex, standing, number) triples."""
    numbers: Counter[str] = Counter()
    missing = 0
    for sex, standing, n in parts:
        numbers[sex] += n
        if standing == Standing.MISSING:
            missing += n
    return Held(
        males=numbers[Sex.MALE],
        females=numbers[Sex.FEMALE],
        hermaphrodites=numbers[Sex.HERMAPHRODITE],
        unknown=numbers[Sex.UNKNOWN],
        missing=missing,
    )
