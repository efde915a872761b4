"""Class A on the spot, and the pages of write-ins and second counters."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.spots import count_spot
from census.rounds.models import SpotCount, WriteInFinding
from census.rounds.queries.spots import Spot, differing, share_counted, spots
from inventory.people.models import Person
from tests import factories

from .house import COUNTED, NOW, TestHouse
from .test_written_in import written

pytestmark = pytest.mark.django_db


def signed_in(client: Client, person: Person) -> Client:
    assert person.user is not None
    client.force_login(person.user)
    return client


def congers() -> Spot:
    return next(spot for spot in spots(now=NOW, days=31) if spot.name == "Conger conger")


def test_every_class_a_taxon_here_is_due_until_counted_and_again_after_a_month(
    house: TestHouse,
) -> None:
    # The ray is held by others; a letter tells of it.
    assert [(spot.place.code, spot.name, spot.due) for spot in spots(now=NOW, days=31)] == [
        ("K1", "Conger conger", True)
    ]
    count_spot(spot=congers(), value=2, by=house.first, second=house.second, now=NOW)
    assert share_counted(spots(now=NOW, days=31)) == 100.0
    assert not congers().due
    later = spots(now=NOW + timedelta(days=31), days=31)
    assert [spot.due for spot in later] == [True]
    assert share_counted(later) == 0.0


def test_a_count_on_the_spot_keeps_the_book_beside_it_and_moves_nothing(house: TestHouse) -> None:
    made = count_spot(spot=congers(), value=1, by=house.first, second=house.second, now=NOW)
    assert (made.value, made.book) == (1, 2)
    assert set(made.lots.all()) == {house.lots["conger"], house.lots["hawser"]}
    assert differing(now=NOW, days=31) == [made]
    with pytest.raises(IntegrityError), transaction.atomic():
        SpotCount.objects.update(value=2)


def test_two_count_or_the_note_says_why_not_and_a_volunteer_does_not(house: TestHouse) -> None:
    with pytest.raises(CensusRefused, match="two counters"):
        count_spot(spot=congers(), value=2, by=house.first, now=NOW)
    with pytest.raises(CensusRefused, match="second counter of their own"):
        count_spot(spot=congers(), value=2, by=house.first, second=house.first, now=NOW)
    volunteer = factories.make_person(roles=["counter"])
    with pytest.raises(CensusRefused, match="trained volunteer"):
        count_spot(spot=congers(), value=2, by=volunteer, second=house.first, now=NOW)
    with pytest.raises(CensusRefused, match="may not count on the spot"):
        count_spot(spot=congers(), value=2, by=house.officer, second=house.first, now=NOW)
    assert count_spot(spot=congers(), value=2, by=house.first, note="alone on Sunday", now=NOW).second is None


def test_the_page_of_spot_counts_is_blind_for_counters(house: TestHouse, client: Client) -> None:
    address = reverse("spot_counts")
    spot = congers()
    told = {
        "place": spot.place.pk,
        "taxon": spot.lots[0].taxon_id,
        "unit": "animal",
        "value": 1,
        "second": house.second.pk,
    }
    page = signed_in(client, house.first).post(address, told, follow=True).content.decode()
    assert "the count is kept" in page
    assert "book 2" not in page
    assert "book 2" in signed_in(client, house.curator).get(address).content.decode()
    assert client.post(address, {**told, "place": 0}).status_code == 404


def test_spots_are_read_in_a_constant_number_of_queries(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(6):
        spots(now=NOW, days=31)
    for k in range(6):
        name = f"lobster {k}"
        house.lots[name] = factories.make_lot(kind="individual")
        factories.make_event("received", lot=house.lots[name], place="K2", happened="2026-09-01")
    with django_assert_num_queries(6):
        assert len(spots(now=NOW, days=31)) == 7


def test_a_write_in_is_decided_on_its_page_with_a_picture(house: TestHouse, client: Client) -> None:
    _, line = written(house, "Pacific oyster", 1)
    at = [line.sheet.number, line.number]
    address, oyster = reverse("written_in", args=at), factories.make_taxon("Magallana gigas")
    picture = SimpleUploadedFile("oyster.png", b"\x89PNG\r\n\x1a\n" + b"oyster")
    page = signed_in(client, house.registrar).post(
        reverse("line_picture", args=at), {"picture": picture}, follow=True
    )
    assert "oyster.png" in page.content.decode()
    page = client.post(address, {"found_as": "settled"})
    assert "say what it is" in page.content.decode()
    page = client.post(address, {"found_as": "introduced", "taxon": oyster.pk}, follow=True)
    assert "introduced species" in page.content.decode()
    assert WriteInFinding.objects.get().taxon == oyster
    assert "Introduced species in K1" in signed_in(client, house.officer).get("/").content.decode()
    assert "Magallana gigas" in client.get(reverse("notices")).content.decode()
    assert client.post(address, {"found_as": "introduced"}).status_code == 403
    assert signed_in(client, house.first).get(address).status_code == 403


def test_the_second_counter_of_class_a_finds_the_way_on_the_sheet(house: TestHouse, client: Client) -> None:
    census = house.opened_and_issued("K1")
    sheet, line = census.sheets.get(), house.line(census, "conger")
    sheet.counters.add(house.second)
    address = reverse("sheet", args=[sheet.number])
    assert "as the second counter" not in signed_in(client, house.second).get(address).content.decode()
    entry = Entry(line=line.number, counted_at=COUNTED, counter=house.first, value=2)
    take_counts(sheet=sheet, entries=[entry], by=house.first, now=COUNTED)
    assert "as the second counter" in client.get(address).content.decode()
    page = client.get(address + "?round=2").content.decode()
    assert "Conger conger" in page
    assert "Gobius niger" not in page
    assert "as the second counter" not in signed_in(client, house.first).get(address).content.decode()
