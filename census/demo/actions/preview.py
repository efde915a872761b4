"""The quarter as it will look when everything is settled: shown, written, and taken back."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path

from django.db import transaction

from census.change.files.workbook import write_workbook
from census.change.queries.report import Report, change_report
from census.change.rules.question import Question
from inventory.book.rules.scope import Scope

from ..rules.fixtures import ANIMAL, number, read_quarters, read_rows
from ..rules.history import History
from .settle import settle_all


@dataclass(frozen=True, slots=True)
class Preview:
    """What came of settling. ``census``: its state and version in words."""

    report: Report
    census: str


def running_quarter() -> Question:
    """The population change of the quarter that is being counted, ours and others' animals."""
    running = read_quarters()[-1]
    return Question(running.starts, running.ends, scope=Scope.ALL)


@transaction.atomic
def settle_and_take_back(
    history: History,
    *,
    now: datetime,
    zone: tzinfo,
    workbook: Path | None = None,
    look: Callable[[], None] = lambda: None,
) -> Preview:
    """Settles everything, reports, and takes it all back: the half counted census stays.

    ``look`` is called while the settled state stands, to print it.
    """
    census = settle_all(history, now=now, zone=zone)
    report = change_report(running_quarter(), zone=zone)
    if workbook is not None:
        workbook.parent.mkdir(parents=True, exist_ok=True)
        write_workbook(running_quarter(), workbook, made_at=now, zone=zone)
    look()
    preview = Preview(report, f"{census.code} {census.state}, {census.version}")
    transaction.set_rollback(True)
    return preview


def figures(report: Report) -> dict[str, int]:
    """The figures that the demo promises, by their names in the fixtures, as the report has them."""
    animals = report.totals[ANIMAL]
    flows = animals.flows
    return {
        "opening": animals.opening,
        "collected": flows["taken"],
        "born": flows["born"],
        "divided": flows["divided"],
        "found": flows["found"],
        "died": flows["died"] + flows["died_within_30_days"],
        "late": animals.late,
        "unaccounted": flows["unaccounted"],
        "closing": animals.closing,
        "missing": animals.missing,
        "colonies": report.totals["colony"].closing,
        "egg cases": report.totals["egg case"].closing,
    }


def promised() -> dict[str, int]:
    """The acceptance figures of the fixtures."""
    return {row["figure"]: number(row["value"]) for row in read_rows("acceptance.csv")}
