"""Who keeps which place of the demo house, from when to when."""

from datetime import date, timedelta

from inventory.book.models import Keeping, Place
from inventory.people.models import Person

from ..rules.fixtures import read_rows


def make_keepers(*, first_day: date) -> None:
    """One keeping for each row of the fixture; each begins the day after the one before it ended."""
    places = {place.code: place for place in Place.objects.all()}
    people = {person.name: person for person in Person.objects.all()}
    begins: dict[str, date] = {}
    rows = []
    for row in read_rows("keepers.csv"):
        since = begins.get(row["place"], first_day)
        until = date.fromisoformat(row["until"]) if row["until"] else None
        rows.append(
            Keeping(place=places[row["place"]], keeper=people[row["keeper"]], since=since, until=until)
        )
        if until:
            begins[row["place"]] = until + timedelta(days=1)
    Keeping.objects.bulk_create(rows)
