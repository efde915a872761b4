"""What the veterinarian wrote of single animals, without entering a move."""

from collections.abc import Mapping
from datetime import date, datetime, tzinfo

from inventory.book.models import Lot, Place
from inventory.people.models import Person
from inventory.tankside.actions.quarantine import expect_end

from ..rules.fixtures import read_rows


def write_vet_notes(accessions: Mapping[str, str], *, zone: tzinfo) -> int:
    """One signed word for each row of the fixture; how many."""
    rows = read_rows("vet_notes.csv")
    for row in rows:
        expect_end(
            lot=Lot.objects.get(accession=accessions[row["lot"]]),
            place=Place.objects.get(code=row["place"]),
            ends_on=date.fromisoformat(row["ends"]),
            words=row["words"],
            by=Person.objects.get(name=row["by"]),
            now=datetime.fromisoformat(row["written"]).replace(tzinfo=zone),
        )
    return len(rows)
