"""Counts of earlier quarters that the house has typed in from the sheets of then.

Only what is counted in passes, tank by tank: the figures of those quarters were signed without them.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta, tzinfo

from django.db import transaction

from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.opening import open_census
from census.rounds.actions.sheets import accept, hand_in, issue
from census.rounds.models import Census, Line, Sheet
from census.rounds.rules.words import CensusState
from inventory.book.models import Period, Place
from inventory.people.models import Person

from ..rules.fixtures import read_rows
from ..rules.history import History
from .people import REGISTRAR

NOTE = "Typed in from the sheets of then: only the shoals that are counted in passes."


@transaction.atomic
def copy_earlier_counts(history: History, *, zone: tzinfo) -> int:
    """One census for each quarter of the fixture, closed with the version signed then; answers how many."""
    rows = read_rows("earlier_counts.csv")
    for row in rows:
        _copy(row, history, zone)
    return len(rows)


def _copy(row: Mapping[str, str], history: History, zone: tzinfo) -> None:
    registrar = Person.objects.get(name=REGISTRAR)
    counter = Person.objects.get(name=row["counter_1"])
    opened, counted = (
        datetime.fromisoformat(row[column]).replace(tzinfo=zone) for column in ("opened", "counted_at")
    )
    period = Period.objects.get(code=row["period"])
    places = [Place.objects.get(code=row["place"])]
    census = open_census(period=period, places=places, by=registrar, now=opened, zone=zone)
    sheet = census.sheets.get()
    line = sheet.lines.get(lots__accession=history.accessions[row["lot"]])
    # What nobody typed in is on no line: it was counted then, and its sheet is on paper only.
    Line.objects.filter(sheet=sheet).exclude(pk=line.pk).delete()
    issue(sheet=sheet, by=registrar, now=opened, counters=[counter])
    entry = Entry(
        line=line.number,
        counted_at=counted,
        counter=counter,
        value=int(row["count_1"]),
        low=int(row["low_1"]),
        high=int(row["high_1"]),
        passes=int(row["passes_1"]),
        method=row["method_1"],
        remark=row["remark"],
    )
    typed = counted + timedelta(hours=2)
    take_counts(sheet=sheet, entries=[entry], by=counter, now=typed)
    hand_in(sheet=Sheet.objects.get(pk=sheet.pk), by=counter, now=typed)
    compare_counts(census=Census.objects.get(pk=census.pk), by=registrar, now=typed + timedelta(hours=1))
    accept(sheet=Sheet.objects.get(pk=sheet.pk), by=registrar, now=typed + timedelta(hours=1))
    # The quarter was signed then, before the house kept its censuses here.
    Census.objects.filter(pk=census.pk).update(
        state=CensusState.CLOSED.value, version=period.versions.latest("number"), note=NOTE
    )
