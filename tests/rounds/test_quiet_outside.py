"""The quiet time of counts outside of sheets: on the spot, and for a sample."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from census.rounds.actions.drawing import draw_sample, record_sample
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.spots import count_spot
from census.rounds.actions.to_come import sample_to_come, spot_to_come
from census.rounds.attention import places_hidden_from, places_hidden_from_anybody
from census.rounds.models import CountToCome
from census.rounds.queries.settings import settings_in_use
from census.rounds.queries.spots import Spot, spots
from census.rounds.queries.to_come import crossed
from inventory.doors import clock
from tests import factories

from .house import NOW, TestHouse

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def _at_noon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: NOW)


def congers() -> Spot:
    return next(spot for spot in spots(now=NOW, days=31) if spot.name == "Conger conger")


def test_the_numbers_of_a_spot_are_hidden_from_its_counter_until_it_is_counted(house: TestHouse) -> None:
    k1 = house.places["K1"].pk
    assert places_hidden_from(house.first) == set()
    spot_to_come(spot=congers(), planned_at=NOW + timedelta(hours=23), by=house.first, now=NOW)
    assert places_hidden_from(house.first) == {k1}
    assert places_hidden_from(house.second) == set()
    assert places_hidden_from_anybody() == {k1}
    count_spot(spot=congers(), value=2, by=house.first, second=house.second, now=NOW)
    assert places_hidden_from(house.first) == set()


def test_before_the_quiet_time_and_a_day_after_nothing_is_hidden(
    house: TestHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    spot_to_come(spot=congers(), planned_at=NOW + 2 * DAY, by=house.first, now=NOW)
    assert places_hidden_from(house.first) == set()
    for later, hidden in ((1, True), (3, True), (3.1, False)):
        monkeypatch.setattr(clock, "now", lambda later=later: NOW + later * DAY)
        assert bool(places_hidden_from(house.first)) is hidden


def test_a_count_to_come_lies_ahead_and_stays_as_it_was_said(house: TestHouse) -> None:
    with pytest.raises(CensusRefused, match="lies ahead"):
        spot_to_come(spot=congers(), planned_at=NOW - DAY, by=house.first, now=NOW)
    with pytest.raises(CensusRefused, match="may not count on the spot"):
        spot_to_come(spot=congers(), planned_at=NOW, by=house.officer, now=NOW)
    spot_to_come(spot=congers(), planned_at=NOW, by=house.first, now=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        CountToCome.objects.all().delete()


def test_who_looks_at_a_sample_sees_no_number_of_its_places_until_all_is_found(house: TestHouse) -> None:
    census = house.compared({})
    draw = draw_sample(census=census, by=house.registrar, now=NOW, seed="tide")
    sample_to_come(draw=draw, by=house.registrar, now=NOW)
    drawn = {line.place_id for line in draw.lines.all()}
    assert places_hidden_from(house.registrar) == drawn
    assert sample_to_come(draw=draw, by=house.registrar, now=NOW) == []
    for line in draw.lines.all():
        record_sample(drawn_line=line, found="1", on_list=True, by=house.registrar, now=NOW)
    assert places_hidden_from(house.registrar) == set()
    with pytest.raises(CensusRefused, match="has its result"):
        sample_to_come(draw=draw, by=house.registrar, now=NOW)


def test_what_crossed_the_glass_in_the_quiet_time_of_a_spot_is_found(house: TestHouse) -> None:
    moved = factories.make_event(
        "moved", lot=house.lots["wrasse"], place="K1", to_place="K2", unknown=1, happened="2026-10-05T20:00"
    )
    counted = NOW.replace(year=2026, month=10, day=6, hour=9)
    k1, k2, ra = (house.places[code].pk for code in ("K1", "K2", "RA"))
    asked = [(k1, counted), (k2, counted), (ra, counted), (k1, counted + 2 * DAY)]
    found = crossed(asked, settings_in_use())
    assert found == {(k1, counted): [moved], (k2, counted): [moved]}
    assert crossed([], settings_in_use()) == {}


def test_the_page_takes_the_word_and_hides(house: TestHouse, client: Client) -> None:
    spot = congers()
    assert house.registrar.user
    client.force_login(house.registrar.user)
    told = {"place": spot.place.pk, "taxon": spot.lots[0].taxon_id, "unit": "animal", "step": "to_come"}
    page = client.post(reverse("spot_counts"), told, follow=True).content.decode()
    assert "its numbers are hidden from you until you have counted" in page
    assert "Not what the book had" not in page
    assert places_hidden_from(house.registrar) == {spot.place.pk}
