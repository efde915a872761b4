"""The demo's census through the rules alone: the figures that it must show, from its fixture."""

import csv
from collections import defaultdict
from pathlib import Path

from census.rounds.rules.accuracy import accuracy_by_class, gains_and_losses, is_measured, total
from census.rounds.rules.compare import Comparison, Measured, compare_joined
from census.rounds.rules.words import MEASURED_UNITS, LineKind

FIXTURE = Path(__file__).parent.parent.parent / "fixtures" / "demo" / "census_2026_q3.csv"
Rows = list[dict[str, str]]


def rows() -> Rows:
    with FIXTURE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def kind_of(row: dict[str, str]) -> LineKind:
    if row["place"] == "LO":
        return LineKind.LETTER
    if row["record"] == "write-in":
        return LineKind.WRITE_IN
    return LineKind.PRESENCE if row["count_class"] == "D" else LineKind.GROUP


def measured_lines() -> list[Rows]:
    """The lines of record accuracy: the joined basins of the rock pools as one."""
    groups: dict[tuple[str, ...], Rows] = defaultdict(list)
    for row in rows():
        if is_measured(kind_of(row), row["unit"], row["count_class"].strip("-")):
            joined = row["place"] in ("E03a", "E03b")
            groups[("E03", row["name"]) if joined else (row["line"],)].append(row)
    return list(groups.values())


def compared(which: str) -> list[tuple[str, Comparison]]:
    def count(row: dict[str, str]) -> Measured | None:
        text = row["count_1"] if which == "first" else row["count_2"] or row["count_1"]
        digits = text.removeprefix("at least ")
        return Measured(int(digits), at_least=digits != text) if digits else None

    return [
        (
            parts[0]["count_class"],
            compare_joined(parts[0]["count_class"], [(int(r["book_at_count"]), count(r)) for r in parts]),
        )
        for parts in measured_lines()
    ]


def test_the_demo_has_125_lines_of_which_102_are_counted() -> None:
    latest = compared("latest")
    assert len(latest) == 125
    assert sum(comparison.counted for _, comparison in latest) == 102


def test_the_demo_is_as_accurate_as_its_scenario_says() -> None:
    first, latest = accuracy_by_class(compared("first")), accuracy_by_class(compared("latest"))
    assert {c: (a.lines, a.exact, a.inside) for c, a in first.items()} == {
        "A": (17, 12, 12),
        "B": (60, 45, 46),
        "C": (24, 3, 19),
    }
    assert {c: (a.lines, a.exact, a.inside) for c, a in latest.items()} == {
        "A": (18, 15, 15),
        "B": (60, 49, 50),
        "C": (24, 3, 20),
    }
    assert (total(first).lines, total(first).exact, total(first).inside) == (101, 60, 77)
    assert (total(latest).lines, total(latest).exact, total(latest).inside) == (102, 67, 85)


def test_the_demo_differs_by_48_net_and_282_gross_over_105_rows() -> None:
    differences = [
        int(row["count_minus_book"])
        for row in rows()
        if row["count_minus_book"] and row["unit"] in MEASURED_UNITS
    ]
    found = gains_and_losses(differences)
    assert (len(differences), found.net, found.gross) == (105, 48, 282)
