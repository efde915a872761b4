"""The census as rows of plain values, for commands; the columns are part of the contract."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from ..models import Census
from ..rules.hypotheses import Hypothesis
from ..rules.settings import CensusSettings
from ..rules.words import LineState
from .open_items import open_items
from .progress import accuracy_table, closing_supported, differences_by_unit, sheets_of
from .reading import Row, read_census
from .settings import settings_of

SHOWN = ("sheets", "lines", "accuracy", "totals", "open")
Table = tuple[tuple[str, ...], list[dict[str, Any]]]

DIFFERENCES = (
    "line",
    "place",
    "name",
    "unit",
    "count_class",
    "book",
    "count_1",
    "count_2",
    "count_3",
    "at_least",
    "difference",
    "tolerance",
    "verdict",
    "state",
    "missing",
    "settled_by",
    "reason",
    "closing",
)
GUESSES = (
    "line",
    "place",
    "name",
    "difference",
    "rank",
    "cause",
    "explains",
    "how",
    "other_line",
    "evidence",
)


def shown(what: str, census: Census, *, now: datetime) -> Table:
    """One of the tables named in ``SHOWN``."""
    if what == "sheets":
        return sheets(census, now=now)
    settings = settings_of(census)
    rows = read_census(census, settings=settings)
    if what == "lines":
        return differences(rows)
    if what == "accuracy":
        return accuracy(rows, settings)
    if what == "totals":
        return totals(rows)
    return blocking(census, rows)


def differences(rows: Iterable[Row], *, only_decided: bool = False) -> Table:
    """One row for each compared line or joined set."""
    chosen = [row for row in rows if row.decision is not None or not only_decided]
    return DIFFERENCES, [_difference(row) for row in chosen]


def guesses(rows: Iterable[Row], found: Mapping[int, Sequence[Hypothesis]]) -> Table:
    """One row for each guess about each differing line, best first."""
    lines = [
        {
            "line": row.refs,
            "place": row.place_codes,
            "name": row.name,
            "difference": row.latest.difference if row.latest else None,
            "rank": rank,
            "cause": guess.cause.value,
            "explains": guess.explains,
            "how": guess.how.value if guess.how else "",
            "other_line": guess.other,
            "evidence": guess.words,
        }
        for row in rows
        for rank, guess in enumerate(found.get(row.line.pk, ()), start=1)
    ]
    return GUESSES, lines


def sheets(census: Census, *, now: datetime) -> Table:
    """One row for each sheet."""
    columns = ("sheet", "place", "state", "counters", "counted", "lines", "days_out")
    lines = [
        {
            "sheet": one.sheet.number,
            "place": one.sheet.place.code,
            "state": one.sheet.state,
            "counters": one.counters,
            "counted": one.counted,
            "lines": one.lines,
            "days_out": one.days_out,
        }
        for one in sheets_of(census, now=now)
    ]
    return columns, lines


def accuracy(rows: Iterable[Row], settings: CensusSettings) -> Table:
    """Record accuracy by class, first count and latest."""
    columns = (
        "count_class",
        "lines",
        "first_counted",
        "first_exact",
        "first_inside",
        "latest_counted",
        "latest_exact",
        "latest_inside",
        "not_counted",
    )
    lines = [
        {
            "count_class": one.count_class,
            "lines": one.lines,
            "first_counted": one.first.lines,
            "first_exact": one.first.exact,
            "first_inside": one.first.inside,
            "latest_counted": one.latest.lines,
            "latest_exact": one.latest.exact,
            "latest_inside": one.latest.inside,
            "not_counted": one.lines - one.latest.lines,
        }
        for one in accuracy_table(rows, settings)
    ]
    return columns, lines


def totals(rows: Sequence[Row]) -> Table:
    """Differences of the latest counts, losses and gains apart, each unit by itself."""
    columns = ("unit", "gains", "gain_lines", "losses", "loss_lines", "net", "gross")
    lines = [
        {
            "unit": unit,
            "gains": found.gains,
            "gain_lines": found.gain_lines,
            "losses": found.losses,
            "loss_lines": found.loss_lines,
            "net": found.net,
            "gross": found.gross,
        }
        for unit, found in differences_by_unit(rows).items()
    ]
    return columns, lines


def blocking(census: Census, rows: Sequence[Row]) -> Table:
    """What stands against signing."""
    lines = [
        {"kind": item.kind.value, "sheet": item.sheet, "item": item.text} for item in open_items(census, rows)
    ]
    return ("kind", "sheet", "item"), lines


def _difference(row: Row) -> dict[str, Any]:
    latest = row.latest
    decision = row.decision if row.state is LineState.SETTLED else None
    return {
        "line": row.refs,
        "place": row.place_codes,
        "name": row.name,
        "unit": row.line.unit,
        "count_class": row.line.count_class,
        "book": latest.book if latest else None,
        **{f"count_{number}": _round(row, number) for number in (1, 2, 3)},
        "at_least": "yes" if any(part.latest and part.latest.at_least for part in row.parts) else "",
        "difference": latest.difference if latest else None,
        "tolerance": latest.tolerance if latest else None,
        "verdict": latest.verdict.value if latest else "",
        "state": row.state.value,
        "missing": row.missing,
        "settled_by": decision.how if decision else "",
        "reason": decision.reason if decision else "",
        "closing": closing_supported(row),
    }


def _round(row: Row, number: int) -> int | str | None:
    """The number (or letter) of one round; the sum of a joined set, if all parts were counted."""
    counts = [part.counts.get(number) for part in row.parts]
    if any(count is None for count in counts):
        return None
    values = [count.value for count in counts if count is not None and count.value is not None]
    if len(values) == len(counts):
        return sum(values)
    return ", ".join(count.letter for count in counts if count is not None)
