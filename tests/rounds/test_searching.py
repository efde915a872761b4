"""An animal that a census did not find is searched until the book knows what became of it, by any door."""

import pytest

from census.rounds import attention
from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.decide import decide_line
from census.rounds.actions.sheets import hand_in
from census.rounds.models import Census, Notice, Sheet
from census.rounds.queries.permit_questions import open_questions
from census.rounds.queries.reading import read_census
from census.rounds.queries.standing import standings
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How, Seen
from inventory.book.models import Event
from inventory.people.models import Person
from tests.factories import make_event, make_reversal

from .house import COUNTED, HELD, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db
LATER = at("2026-11-21T10:00")


@pytest.fixture
def census(house: TestHouse) -> Census:
    """Its roll-call found Thole and not Hawser."""
    made = house.opened_and_issued()
    line = house.line(made, "conger")
    seen = {house.lots["conger"].accession: Seen.SEEN, house.lots["hawser"].accession: Seen.NOT_SEEN}
    house.count(made, {name: n for name, n in HELD.items() if name != "conger"})
    entry = Entry(line=line.number, counted_at=COUNTED, counter=house.first, seen=seen)
    take_counts(sheet=line.sheet, entries=[entry], by=house.first, now=COUNTED)
    for sheet in made.sheets.all():
        hand_in(sheet=Sheet.objects.get(pk=sheet.pk), by=house.first, now=at("2026-10-01T09:00"))
    compare_counts(census=made, by=house.registrar, now=at("2026-11-20T10:00"), zone=ZONE)
    assert Notice.objects.get().kind == "not seen"
    return made


def booked_as_missing(house: TestHouse, census: Census) -> None:
    hawser = house.lots["hawser"].accession
    missing = Settling(how=How.MISSING, n=1, accessions=(hawser,), owner=house.registrar.name)
    line = house.line(census, "conger")
    decide_line(line=line, settling=missing, by=house.registrar, now=at("2026-10-02T10:00"), zone=ZONE)


def became(house: TestHouse, name: str, what: str) -> Event:
    """As somebody enters it at a desk, who knows of no census."""
    lot, place = house.lots[name], house.places["K1"]
    return make_event(what, lot=lot, place=place, unknown=1, happened="2026-10-20", now=LATER)


def today(person: Person) -> str:
    items = attention.items(person, now=LATER)
    return "; ".join(f"{item.heading}: {line.text}" for item in items for line in item.lines)


@pytest.mark.parametrize("missing_first", [True, False])
def test_a_death_at_a_desk_ends_the_search_and_taking_it_back_begins_it_again(
    house: TestHouse, census: Census, missing_first: bool
) -> None:
    if missing_first:
        booked_as_missing(house, census)
    assert "To be seen by you: Hawser" in today(house.curator)
    death = became(house, "hawser", "died")
    assert "Hawser" not in today(house.curator)
    make_reversal(death, happened="2026-10-21", now=LATER)
    assert "To be seen by you: Hawser" in today(house.curator)


@pytest.mark.parametrize("what", ["died", "seen_again"])
def test_one_that_was_booked_as_missing_is_asked_for_until_its_death_or_find_is_booked(
    house: TestHouse, census: Census, what: str
) -> None:
    booked_as_missing(house, census)
    hawser, line = house.lots["hawser"], house.line(census, "conger")

    def waits() -> tuple[str, ...]:
        found = standings(read_census(census), DEFAULTS).get(line.pk)
        return found.waits if found else ()

    assert waits() == ("searched: Runa",)
    assert "K1 Conger conger" in today(house.registrar)
    assert [one.lot for one in open_questions({hawser.pk})] == [hawser.pk]
    became(house, "hawser", what)
    assert waits() == ()
    assert "Conger conger" not in today(house.registrar)
    assert open_questions({hawser.pk}) == []
    assert "Hawser" not in today(house.curator)


def test_another_animal_of_the_line_is_searched_on(house: TestHouse, census: Census) -> None:
    became(house, "conger", "died")
    assert "To be seen by you: Hawser" in today(house.curator)


def test_a_search_goes_on_under_the_new_name_of_a_kind(house: TestHouse, census: Census) -> None:
    taxon = house.lots["hawser"].taxon
    taxon.scientific_name, taxon.common_name = "Conger vulgaris", "sea eel"
    taxon.save()
    assert "To be seen by you: Hawser" in today(house.curator)
    became(house, "hawser", "died")
    assert "Hawser" not in today(house.curator)


def test_a_search_goes_on_for_an_animal_that_is_given_a_name_of_its_own(
    house: TestHouse, census: Census
) -> None:
    # The question was asked by the accession number.
    hawser = house.lots["hawser"]
    Notice.objects.update(words=Notice.objects.get().words.replace("Hawser", hawser.accession))
    assert f"To be seen by you: {hawser.accession}" in today(house.curator)
