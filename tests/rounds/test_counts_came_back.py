"""Counts that a device sent and the census refused: seen by the registrar, taken again or set aside."""

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.came_back import answer_came_back, take_again
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import issue
from census.rounds.api import received_from
from census.rounds.attention import items
from census.rounds.models import CameBackAnswer, Count, CountEntry, Sheet
from census.rounds.queries.came_back import came_back, waiting
from census.rounds.rules.words import CameBackAs
from census.rounds.schemas import CountEntryIn
from inventory.people.models import Person

from .house import NOW, TestHouse
from .test_api import Phone, phone

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
__all__ = ["phone"]


def refused(house: TestHouse, phone: Phone, *, value: int = 11) -> Sheet:
    """Alda sends a count for a sheet that is not issued to her yet."""
    census = house.open("K1")
    sheet = census.sheets.get()
    line = house.line(census, "goby")
    sent = phone.entry(house.first, sheet.number, {"line": line.number, "value": value, "remark": "at dusk"})
    (answer,) = phone.send(sent)
    assert answer["outcome"] == "came back"
    return sheet


def as_(person: Person, client: Client) -> Client:
    assert person.user is not None
    client.force_login(person.user)
    return client


def issued(house: TestHouse, sheet: Sheet) -> None:
    issue(sheet=sheet, by=house.registrar, now=NOW, counters=[house.first])


def test_the_registrar_sees_who_sent_what_and_why_it_came_back(
    house: TestHouse, phone: Phone, client: Client
) -> None:
    sheet = refused(house, phone)
    page = as_(house.registrar, client).get(reverse("counts_came_back")).content.decode()
    for told in (sheet.number, "Alda", "is not issued to Alda; ask the registrar", "11; at dusk", "Blue"):
        assert told in page, told
    (told_today,) = [
        one for one in items(house.registrar, now=NOW) if one.heading == "Counts that came back from devices"
    ]
    assert (told_today.total, told_today.lines[0].owner) == (1, "Alda")
    assert "11" not in told_today.lines[0].text


@pytest.mark.parametrize("who", ["first", "officer"])
def test_others_do_not_read_the_numbers(house: TestHouse, phone: Phone, client: Client, who: str) -> None:
    refused(house, phone)
    assert as_(getattr(house, who), client).get(reverse("counts_came_back")).status_code == 403


def test_what_was_mended_since_is_taken_as_it_was_sent(
    house: TestHouse, phone: Phone, client: Client
) -> None:
    sheet = refused(house, phone)
    entry = waiting().get()
    press = {"step": "again", "entry": str(entry.pk)}
    told = as_(house.registrar, client).post(reverse("counts_came_back"), press, follow=True)
    assert "It came back again" in told.content.decode()
    assert waiting().count() == 1
    issued(house, sheet)
    press["entry"] = str(waiting().get().pk)
    told = client.post(reverse("counts_came_back"), press, follow=True)
    assert "1 line counted" in told.content.decode()
    count = Count.objects.get()
    assert (count.value, count.counter, count.remark) == (11, house.first, "at dusk")
    assert not waiting().exists()
    # All that was sent stays readable.
    assert CountEntry.objects.count() == 3


def test_it_is_set_aside_with_a_reason_and_stays_readable(
    house: TestHouse, phone: Phone, client: Client
) -> None:
    sheet = refused(house, phone)
    entry = waiting().get()
    press = {"step": "answer", "entry": str(entry.pk), "outcome": "nothing", "why": " "}
    told = as_(house.registrar, client).post(reverse("counts_came_back"), press, follow=True)
    assert "Say why; nothing was changed." in told.content.decode()
    told = client.post(
        reverse("counts_came_back"), press | {"why": "counted by Bror at the same time"}, follow=True
    )
    page = told.content.decode()
    assert "nothing of it is to be entered: counted by Bror at the same time" in page
    assert sheet.number in page
    assert (came_back(), CameBackAnswer.objects.get().by) == ([], house.registrar)
    assert [one.heading for one in items(house.registrar, now=NOW)] != ["Counts that came back from devices"]
    again = client.post(reverse("counts_came_back"), press | {"why": "twice"})
    assert again.status_code == 404
    with pytest.raises(CensusRefused, match="answered already"):
        answer_came_back(entry=entry, outcome=CameBackAs.TYPED, why="twice", by=house.registrar, now=NOW)


def test_what_the_device_sent_corrected_waits_for_nobody(house: TestHouse, phone: Phone) -> None:
    sheet = refused(house, phone)
    issued(house, sheet)
    entry = waiting().get()
    line = house.line(sheet.census, "goby")
    corrected = phone.entry(
        house.first, sheet.number, {"line": line.number, "value": 10}, replaces=str(entry.identifier)
    )
    (answer,) = phone.send(corrected)
    assert answer["outcome"] == "sent"
    assert not waiting().exists()


def test_what_cannot_be_read_is_shown_as_such_and_only_set_aside(
    house: TestHouse, phone: Phone, client: Client
) -> None:
    census = house.opened_and_issued("K1")
    sent = phone.entry(house.first, census.sheets.get().number)
    phone.send(sent | {"lines": "eleven"})
    page = as_(house.registrar, client).get(reverse("counts_came_back")).content.decode()
    assert "Nothing of it could be read." in page
    assert "Take it again" not in page
    press = {"step": "again", "entry": str(waiting().get().pk)}
    told = client.post(reverse("counts_came_back"), press, follow=True)
    assert "It cannot be read" in told.content.decode()


def test_only_who_decides_answers(house: TestHouse, phone: Phone) -> None:
    refused(house, phone)
    entry = waiting().get()
    with pytest.raises(CensusRefused, match="may not answer counts"):
        answer_came_back(entry=entry, outcome=CameBackAs.NOTHING, why="no", by=house.officer, now=NOW)
    received = CountEntryIn.model_validate(entry.body)
    with pytest.raises(CensusRefused, match="may not take counts"):
        take_again(entry=entry, received=received_from(received), by=house.officer, now=NOW)
    with pytest.raises(CensusRefused, match="cannot be read"):
        take_again(entry=entry, received=received_from(received), by=house.registrar, now=NOW)


def test_many_entries_are_read_in_as_many_queries_as_one(
    house: TestHouse, phone: Phone, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    sheet = refused(house, phone)
    with django_assert_num_queries(1):
        assert len(came_back()) == 1
    for n in range(5):
        phone.send(phone.entry(house.second, sheet.number, {"line": 1, "value": n}))
    with django_assert_num_queries(1):
        assert len(came_back()) == 6


@pytest.mark.parametrize("named", ["", "one", "²"])
def test_a_button_that_names_no_entry_is_answered_as_nothing_there(
    house: TestHouse, client: Client, named: str
) -> None:
    press = {"step": "again", "entry": named}
    assert as_(house.registrar, client).post(reverse("counts_came_back"), press).status_code == 404
