"""Large files: queries and memory do not grow with the rows."""

import tracemalloc
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.book.actions.load import posting
from inventory.book.models import Cell, Event
from tests.book.load_files import HOUSE, Rows, event, summary_of, write_folder

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


def long_house(rows: int, *, prefix: str = "r") -> dict[str, Rows]:
    """Arrivals of ten, and deaths of one, turn about; all in one tank."""
    first = date(2020, 1, 1)
    events: list[dict[str, Any]] = [
        event(
            f"{prefix}{n}",
            "died" if n % 2 else "received",
            first + timedelta(days=n // 12),
            entered_by=f"Keeper {n % 3}",
            accession="G1",
            place="T1",
            unknown=1 if n % 2 else 10,
            note=f"slip {n}",
        )
        for n in range(rows)
    ]
    return {**HOUSE, "events": events}


def test_queries_do_not_grow_with_the_events_of_a_chunk(tmp_path: Path) -> None:
    """Below the portions in which SQLite takes parameters, as many for 40 as for 4."""
    summary_of(write_folder(tmp_path / "first", long_house(4, prefix="first")))
    counts = []
    for rows in (4, 40):
        folder = write_folder(tmp_path / str(rows), long_house(rows, prefix=f"of-{rows}-"))
        with CaptureQueriesContext(connection) as captured:
            assert summary_of(folder)["events"]["new"] == rows
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_memory_does_not_grow_with_the_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunks of one size. A buffer that fills once is half a megabyte; 3,600 events kept would be four."""
    monkeypatch.setattr(posting, "CHUNK", 200)
    summary_of(write_folder(tmp_path / "first", long_house(400, prefix="first")))
    peaks = []
    for rows in (1_200, 4_800):
        folder = write_folder(tmp_path / str(rows), long_house(rows, prefix=f"of-{rows}-"))
        tracemalloc.start()
        try:
            assert summary_of(folder)["events"]["new"] == rows
            peaks.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
    assert peaks[1] - peaks[0] < 1_000_000


@pytest.mark.slow
def test_twenty_thousand_rows_are_loaded_whole_and_once(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, long_house(20_000))
    assert summary_of(folder)["events"] == {"rows": 20_000, "new": 20_000, "changed": 0, "already_there": 0}
    assert Cell.objects.get(lot__accession="G1", inside=True).balance == 90_000
    assert summary_of(folder)["events"]["already_there"] == 20_000
    assert Event.objects.count() == 20_000
