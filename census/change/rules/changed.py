"""Which figures differ between two versions of one period's report."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .columns import COLUMNS


@dataclass(frozen=True, slots=True)
class Changed:
    """One figure: of which row, in which column, what it was and what it is."""

    name: str
    unit: str
    figure: str
    old: Any
    new: Any


def changed_figures(old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]]) -> list[Changed]:
    """Every figure that differs, in the order of rows and columns; a row that was not there was zero."""
    was, now = _by_row(old), _by_row(new)
    return [
        Changed(name, unit, column, before, after)
        for name, unit in sorted(was.keys() | now.keys())
        for column in COLUMNS
        if (before := _figure(was.get((name, unit)), column))
        != (after := _figure(now.get((name, unit)), column))
    ]


def _by_row(rows: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str], Mapping[str, Any]]:
    return {(str(row["name"]), str(row["unit"])): row for row in rows}


def _figure(row: Mapping[str, Any] | None, column: str) -> Any:
    nothing = "0.0.0" if column.endswith("_mfu") else 0
    return nothing if row is None else row.get(column, nothing)
