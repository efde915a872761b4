"""Every page of the demo house answers, to each role as it may."""

from datetime import date

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import reverse

from census.rounds.models import Census, Sheet
from inventory.book.models import Event, Lot, Place
from inventory.names.models import CheckState, NameCheck
from inventory.people.models import RoleTerm

from .conftest import DemoHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
REGISTRAR = "maren"


def _addresses() -> list[str]:
    code = Census.objects.latest("cutoff").code
    plain = ("today", "places", "lots", "names_review", "check_names", "census_list", "change")
    waiting = NameCheck.objects.filter(state=CheckState.TO_REVIEW)
    return [
        *(reverse(name) for name in plain),
        *(reverse("place", args=[place.code]) for place in Place.objects.all()),
        *(reverse("lot", args=[lot.accession]) for lot in Lot.objects.order_by("pk")[::10]),
        *(reverse("event", args=[event.pk]) for event in Event.objects.order_by("pk")[::100]),
        *(reverse("name_review", args=[check.pk]) for check in waiting),
        reverse("census", args=[code]),
        reverse("differences", args=[code]),
        *(reverse("sheet", args=[sheet.number]) for sheet in Sheet.objects.all()),
    ]


def _client(user: str) -> Client:
    client = Client()
    client.force_login(get_user_model().objects.get(username=user))
    return client


def test_the_registrar_can_open_every_page(house: DemoHouse) -> None:
    client = _client(REGISTRAR)
    refused = {
        address: status
        for address in _addresses()
        if (status := client.get(address, follow=True).status_code) != 200
    }
    assert refused == {}


def test_the_inspector_can_read_every_page(house: DemoHouse) -> None:
    client = _client("ruadh")
    refused = {
        address: status
        for address in _addresses()
        if (status := client.get(address, follow=True).status_code) != 200
    }
    assert refused == {}


def test_the_inspector_is_let_in_from_a_day_to_a_day_by_the_registrar(house: DemoHouse) -> None:
    [term] = RoleTerm.objects.all()
    assert (term.person.name, term.granted_by.name) == ("Ruadh Maccaskin", "Maren Tolvsund")
    assert (term.starts_on, term.ends_on) == (date(2026, 10, 5), date(2026, 10, 16))
    user = get_user_model().objects.get(username="ruadh")
    assert not user.groups.exists(), "the role ends with its last day"
    assert "in force" in _client(REGISTRAR).get(reverse("people")).text


def test_a_tank_with_two_windows_says_how_it_is_counted(house: DemoHouse) -> None:
    sheet = Sheet.objects.get(place__code="E02")
    assert "This tank has 2 windows" in _client("sunniva").get(reverse("sheet", args=[sheet.number])).text


def test_nobody_meets_a_broken_page(house: DemoHouse) -> None:
    """403 is an answer; a page that breaks raises in the client and ends the test."""
    for sign_in in house.sign_ins:
        client = _client(sign_in.user)
        for address in _addresses()[:12]:
            assert client.get(address, follow=True).status_code in (200, 403), (sign_in.name, address)


def test_each_sign_in_opens_with_the_password_that_is_printed(house: DemoHouse) -> None:
    for sign_in in house.sign_ins:
        assert Client().login(username=sign_in.user, password=sign_in.password), sign_in.name


def test_a_stranger_is_asked_to_sign_in(house: DemoHouse) -> None:
    response = Client().get(reverse("today"))
    assert response.status_code == 302
    assert response["Location"].startswith(reverse("sign_in"))
