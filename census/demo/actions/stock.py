"""The first day: the house's spreadsheets, written as csv files and loaded as any house would."""

import csv
import tempfile
from collections.abc import Iterable, Mapping
from datetime import datetime, tzinfo
from pathlib import Path

from inventory.book.actions.load import LoadReport, load
from inventory.book.models import Lot, Place
from inventory.book.readers import open_source
from inventory.book.rules.sheets import EVENTS, LOTS, PLACES, TAXA

from ..rules.fixtures import Row, read_rows
from ..rules.history import History

# Stands as evidence under the first events for ever.
FOLDER = "opening-stock"


class DemoBroken(Exception):
    """The fixtures and the program do not fit; the message says where."""


def load_opening_stock(history: History, *, now: datetime, zone: tzinfo) -> tuple[LoadReport, LoadReport]:
    """Loads places, taxa, lots and opening stock; twice, as on the day. Answers both reports."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / FOLDER
        folder.mkdir()
        _write_workbook(folder, history)
        reports = [load(open_source(folder), now=now, zone=zone, by=row_by(history)) for _ in range(2)]
    for report in reports:
        if not report.loaded:
            raise DemoBroken("\n".join(str(problem) for problem in report.problems))
    again = reports[1].sheets.values()
    if any(tally.new or tally.changed for tally in again):
        raise DemoBroken(f"the second load of the same files changed something: {list(again)}")
    _set_count_classes(history)
    _set_windows()
    return reports[0], reports[1]


def row_by(history: History) -> str:
    """Who loaded the opening stock."""
    return history.opening[0].entered_by


def _write_workbook(folder: Path, history: History) -> None:
    write_sheet(folder / "places.csv", PLACES.columns, read_rows("places.csv"))
    # With the names as they stood in the old spreadsheets; those of lots come in with the lots.
    typed = {lot.name for lot in history.lots}
    taxa = read_rows("taxa.csv") + [
        row for row in read_rows("names_to_review.csv") if row["name"] not in typed
    ]
    write_sheet(folder / "taxa.csv", TAXA.columns, taxa)
    lots = [
        {
            "accession": history.accessions[lot.lot],
            "name": lot.name,
            "kind": lot.kind,
            "unit": lot.unit,
            "owner": lot.owner,
            "house_name": lot.house_name,
            "marks": lot.marks,
        }
        for lot in history.lots
    ]
    write_sheet(folder / "lots.csv", LOTS.columns, lots)
    events = [_event_row(row, history.accessions) for row in history.opening]
    write_sheet(folder / "events.csv", EVENTS.columns, events)


def _event_row(row: Row, accessions: Mapping[str, str]) -> dict[str, str]:
    return {
        "ref": row.ref,
        "kind": row.kind,
        "happened": row.happened,
        "entered": row.entered,
        "entered_by": row.entered_by,
        "accession": accessions[row.lot],
        "place": row.place,
        "males": str(row.males or ""),
        "females": str(row.females or ""),
        "hermaphrodites": str(row.hermaphrodites or ""),
        "unknown": str(row.unknown or ""),
    }


def write_sheet(path: Path, columns: tuple[str, ...], rows: Iterable[Mapping[str, str]]) -> None:
    """Writes one csv file as a house would keep it."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _set_count_classes(history: History) -> None:
    """The registrar's own choice of class for some lots; the workbook has no column for it."""
    for lot in history.lots:
        if lot.count_class:
            Lot.objects.filter(accession=history.accessions[lot.lot]).update(count_class=lot.count_class)


def _set_windows() -> None:
    """Tanks that are looked into from several sides; the workbook has no column for it either."""
    for row in read_rows("places.csv"):
        if row["windows"]:
            Place.objects.filter(code=row["code"]).update(windows=int(row["windows"]))
