"""The matrix of moves: from rows to columns, one table a unit."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import tzinfo
from functools import partial

from census.change.queries.reading import moments_of
from census.change.queries.report import Report
from inventory.book.models import Place
from inventory.book.queries.quantities import cell_ends, pair_flows

from ..rules.document import Block, Column, Figure, Identity, Line, Part, Table
from .asking import NOTHING

_Moves = dict[tuple[int, int], int]


def moves_part(
    report: Report,
    places: Mapping[int, Place],
    zone: tzinfo,
    asked: Mapping[str, str],
    numbers: Iterator[int],
) -> Part:
    """All moves of the period from place to place; regroups and loans are none. Two queries."""
    by_unit = _moves(report, zone)
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


def _moves(report: Report, zone: tzinfo) -> dict[str, _Moves]:
    question = report.question
    moments = moments_of(question, (report.opening, report.closing), zone)
    pairs = pair_flows(since=moments.start, before=moments.end, known_at=moments.closing.at)
    cells = cell_ends({cell for pair in pairs for cell in (pair.from_cell, pair.to_cell)})
    found: defaultdict[str, _Moves] = defaultdict(lambda: defaultdict(int))
    for pair in pairs:
        a, b = cells[pair.from_cell], cells[pair.to_cell]
        if a.place_id is None or b.place_id is None or a.place_id == b.place_id or a.lot_id != b.lot_id:
            continue
        if all(question.scope.holds(off_site=end.off_site, owner=end.owner) for end in (a, b)):
            found[a.unit][a.place_id, b.place_id] += pair.n
    return {
        unit: kept for unit, moves in found.items() if (kept := {pair: n for pair, n in moves.items() if n})
    }


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
    return Table(unit, lines, total, "Moved in")


def _row(moves: Mapping[int, int], order: list[int], asked: Mapping[str, str]) -> dict[str, Figure]:
    """``moves`` are those out of one place, by where they went."""
    out = {**asked, "figure": "moved_out"}
    row = {f"to {b}": Figure(moves[b], {**out, "other": str(b)}) if moves.get(b) else NOTHING for b in order}
    row["moved_out"] = _figure(sum(moves.values()), out)
    return row


def _figure(n: int, asked: Mapping[str, str]) -> Figure:
    return Figure(n, asked if n else None)
