"""The matrix of moves: from rows to columns, one table a unit."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import partial

import numpy as np

from census.change.queries.report import Report
from inventory.book.models import Place
from inventory.book.rules.columns import Numbers

from ..rules.document import Block, Column, Figure, Identity, Line, Part, Table
from .asking import NOTHING

_Moves = dict[tuple[int, int], int]


def moves_part(
    report: Report,
    places: Mapping[int, Place],
    asked: Mapping[str, str],
    numbers: Iterator[int],
) -> Part:
    """All moves of the period from place to place; regroups and loans are none."""
    by_unit = _moves(report)
    used = {place for moves in by_unit.values() for pair in moves for place in pair}
    order = sorted(used, key=lambda pk: places[pk].code)
    columns = [
        *(Column(f"to {pk}", f"to {places[pk].code}") for pk in order),
        Column("moved_out", "moved out"),
    ]
    tables = [
        _table(unit, by_unit[unit], order=order, places=places, asked=asked, numbers=numbers)
        for unit in sorted(by_unit)
    ]
    return Part(
        key="moves",
        title="Moves",
        label="from",
        columns=columns,
        blocks=[Block("Moves from place to place", [], tables)],
        identities=[Identity(tuple(f"to {pk}" for pk in order), (), "moved_out")],
        words="" if tables else "No animal was moved from one place to another in this period.",
    )


def _moves(report: Report) -> dict[str, _Moves]:
    found: defaultdict[str, _Moves] = defaultdict(dict)
    for (unit, a, b), n in report.moves.items():
        found[unit][a, b] = n
    return dict(found)


def _table(
    unit: str,
    moves: _Moves,
    *,
    order: list[int],
    places: Mapping[int, Place],
    asked: Mapping[str, str],
    numbers: Iterator[int],
) -> Table:
    asked = {**asked, "unit": unit}
    out: defaultdict[int, dict[int, int]] = defaultdict(dict)
    into: defaultdict[int, int] = defaultdict(int)
    for (a, b), n in moves.items():
        out[a][b] = n
        into[b] += n
    lines = [
        Line(
            number=next(numbers),
            name=None,
            label=places[a].code,
            make=partial(_row, out[a], order, {**asked, "group": str(a)}),
        )
        for a in order
        if a in out
    ]
    total = {
        f"to {b}": _figure(
            into[b],
            {**asked, "figure": "moved_in", "group": str(b)},
        )
        for b in order
    }
    total["moved_out"] = _figure(sum(moves.values()), {**asked, "figure": "moved_out"})
    return Table(
        unit, lines, total, "Moved in", partial(_numbers, moves, order, [a for a in order if a in out])
    )


def _numbers(moves: _Moves, order: Sequence[int], rows: Sequence[int]) -> dict[str, Numbers]:
    """The matrix in whole columns; ``rows`` are the places with a line."""
    row_of, column_of = ({place: i for i, place in enumerate(places)} for places in (rows, order))
    matrix = np.zeros((len(order), len(rows)), dtype=np.int64)
    for (a, b), n in moves.items():
        matrix[column_of[b], row_of[a]] = n
    return {"moved_out": matrix.sum(axis=0), **{f"to {b}": matrix[i] for i, b in enumerate(order)}}


def _row(moves: Mapping[int, int], order: list[int], asked: Mapping[str, str]) -> dict[str, Figure]:
    """``moves`` are those out of one place, by where they went."""
    out = {**asked, "figure": "moved_out"}
    row = {f"to {b}": Figure(moves[b], {**out, "other": str(b)}) if moves.get(b) else NOTHING for b in order}
    row["moved_out"] = _figure(sum(moves.values()), out)
    return row


def _figure(n: int, asked: Mapping[str, str]) -> Figure:
    return Figure(n, asked if n else None)
