"""Bodies: where each one is, that the veterinarian finds it, and that a bag's number means one body."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.tankside.models import Body

from ..factories import NOW, make_person
from .conftest import Tablet, TankHouse
from .test_kinds import flags
from .test_pages import signed_in


@pytest.fixture
def vet(house: TankHouse) -> Client:
    return signed_in(make_person("Ylva", roles=["veterinarian"]))


def died(tablet: Tablet, kept: str, bag: str = "", **said: Any) -> dict[str, Any]:
    return tablet.one(tablet.entry(**{"lot": "R2", "n": 1, **said}, body={"kept": kept, "bag": bag}))


def test_the_veterinarian_finds_a_body_by_its_bag(tablet: Tablet, vet: Client) -> None:
    event = died(tablet, "vet", "B-31")["event"]
    died(tablet, "discarded", lot="G1")
    page = vet.get("/bodies").text
    assert f"/event/{event}" in page
    assert "B-31" in page
    assert "Raja montagui" in page
    assert "discarded" not in vet.get("/bodies").text.split("<tbody>")[1]
    assert "discarded" in vet.get("/bodies?all=1").text.split("<tbody>")[1]
    assert f"/event/{event}/body" in vet.get(f"/event/{event}").text


def test_a_body_waits_on_the_veterinarians_today_until_it_is_elsewhere(tablet: Tablet, vet: Client) -> None:
    event = died(tablet, "vet", "B-31")["event"]
    assert "Bodies that wait for the veterinarian" in vet.get("/").text
    assert "bag B-31: Raja montagui of E02" in vet.get("/").text
    vet.post(f"/event/{event}/body", {"kept": "fixed", "bag": "B-31", "part": "part"})
    assert "Bodies that wait" not in vet.get("/").text
    assert [body.bag for body in Body.objects.filter(event=event)] == ["B-31", "B-31"]
    assert "fixed" in vet.get("/bodies").text.split("<tbody>")[1]


def test_the_bag_of_an_entry_that_was_undone_is_free_for_the_right_one(tablet: Tablet, vet: Client) -> None:
    wrong = tablet.entry(lot="R2", n=1, body={"kept": "freezer", "bag": "F-12"})
    tablet.send(wrong, tablet.entry("undo", lot="R2", undoes=wrong["identifier"]))
    assert flags(died(tablet, "freezer", "F-12", lot="R1")) == set()
    assert vet.get("/bodies").text.count("F-12") == 1


def test_a_bag_is_free_once_its_body_is_gone(tablet: Tablet, vet: Client) -> None:
    first = died(tablet, "freezer", "F-12")["event"]
    at = NOW - timedelta(minutes=20)
    assert "body" in flags(died(tablet, "freezer", "F-12", saved_at=at))
    vet.post(f"/event/{first}/body", {"kept": "discarded", "bag": "", "part": "whole"})
    assert flags(died(tablet, "freezer", "F-12", saved_at=at - timedelta(minutes=20))) == set()


def test_everybody_reads_where_a_body_is_and_few_may_say_it(house: TankHouse, tablet: Tablet) -> None:
    event = died(tablet, "vet", "B-31")["event"]
    aquarist = signed_in(house.aquarist)
    page = aquarist.get(f"/event/{event}/body")
    assert "bag B-31" in page.text
    assert "Keep it" not in page.text
    assert aquarist.post(f"/event/{event}/body", {"kept": "fixed", "part": "whole"}).status_code == 403


def test_bodies_are_read_in_a_constant_number_of_queries(tablet: Tablet, vet: Client) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert vet.get("/bodies").status_code == 200
        return len(captured)

    died(tablet, "vet", "B-0")
    few = asked()
    for number in range(1, 9):
        died(tablet, "vet", f"B-{number}", lot="G1", saved_at=NOW - timedelta(hours=number))
    assert asked() == few
