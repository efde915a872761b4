"""Permits, trips, takes and loans of the two years, loaded as a house would load its own sheets.

What was kept is in the ledger already, by the events of the history: each take names its events, and the
load refuses a take whose numbers do not agree with theirs.
"""

import tempfile
from datetime import datetime, tzinfo
from pathlib import Path

from inventory.book.actions.load import LoadReport, load
from inventory.book.readers import open_source
from inventory.permits.rules.sheets import LOANS, PERMIT_LINES, PERMITS, TAKES, TRIPS

from ..rules.fixtures import read_rows
from ..rules.history import History
from .stock import DemoBroken, write_sheet

FOLDER = "permits-and-loans"
PERMIT_OFFICER = "Tamsin Corrigarth"


def load_permits(history: History, *, now: datetime, zone: tzinfo) -> LoadReport:
    """Loads the five sheets; each row says when it was entered and by whom."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / FOLDER
        folder.mkdir()
        for sheet in (PERMITS, PERMIT_LINES, TRIPS, TAKES):
            write_sheet(folder / f"{sheet.name}.csv", sheet.columns, read_rows(f"{sheet.name}.csv"))
        write_sheet(folder / f"{LOANS.name}.csv", LOANS.columns, _loans(history))
        report = load(open_source(folder), now=now, zone=zone, by=PERMIT_OFFICER)
    if not report.loaded:
        raise DemoBroken("\n".join(str(problem) for problem in report.problems))
    return report


def _loans(history: History) -> list[dict[str, str]]:
    """The loans with the accession numbers that the program made for their lots."""
    rows = []
    for row in read_rows("loans.csv"):
        lots = "|".join(history.accessions[lot] for lot in row["lots"].split("|"))
        young = row["young"]
        if young:
            lot, _, born_on = young.rpartition(" ")
            young = f"{history.accessions[lot]} {born_on}"
        rows.append(row | {"lots": lots, "young": young})
    return rows
