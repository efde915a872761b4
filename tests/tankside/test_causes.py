"""Of what an animal died, when it is known later: it is added, no number and no first word changes."""

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from inventory.book.models import Event
from inventory.tankside.models import FoundCause

from ..factories import make_person
from .conftest import Tablet, TankHouse
from .test_pages import signed_in


@pytest.fixture
def vet(house: TankHouse) -> Client:
    return signed_in(make_person("Ylva", roles=["veterinarian"]))


@pytest.fixture
def death(tablet: Tablet) -> int:
    event = tablet.one(tablet.entry(lot="R2", n=1))["event"]
    assert isinstance(event, int)
    return event


def test_the_veterinarian_says_later_of_what_it_died(vet: Client, death: int) -> None:
    before = Event.objects.values("cause", "hash", "flows__n").get(pk=death)
    assert f"/event/{death}/cause" in vet.get(f"/event/{death}").text
    assert "Nothing was found since" in vet.get(f"/event/{death}/cause").text
    said = {"cause": "gut blocked", "how": "necropsy"}
    page = vet.post(f"/event/{death}/cause", said, follow=True).text
    assert "its number stays" in page
    assert "not known, as stated first" in page
    assert "gut blocked, necropsy; Ylva, 2026-10-06" in page
    assert "gut blocked, necropsy; Ylva" in vet.get("/lot/R2").text
    assert Event.objects.values("cause", "hash", "flows__n").get(pk=death) == before


def test_what_the_laboratory_says_holds_and_what_was_found_before_stays(vet: Client, death: int) -> None:
    for cause, how in (
        ("gut blocked", "necropsy"),
        ("worms", "laboratory 12/26"),
        ("worms", "laboratory 12/26"),
    ):
        vet.post(f"/event/{death}/cause", {"cause": cause, "how": how})
    assert [str(one) for one in FoundCause.objects.all()] == [
        "gut blocked, necropsy",
        "worms, laboratory 12/26",
    ]
    page = vet.get(f"/event/{death}/cause").text
    assert page.index("worms, laboratory 12/26") < page.index("Found before: gut blocked")
    history = vet.get("/history/lot/R2").text
    assert "cause found" in history
    assert "worms, laboratory 12/26" in history


def test_everybody_reads_it_and_the_veterinarian_or_the_registrar_writes_it(
    house: TankHouse, vet: Client, death: int
) -> None:
    vet.post(f"/event/{death}/cause", {"cause": "gut blocked"})
    aquarist = signed_in(house.aquarist)
    page = aquarist.get(f"/event/{death}/cause")
    assert "gut blocked" in page.text
    assert "Keep the cause" not in page.text
    assert aquarist.post(f"/event/{death}/cause", {"cause": "old age"}).status_code == 403
    signed_in(house.registrar).post(f"/event/{death}/cause", {"cause": "worms", "how": "letter"})
    assert [one.stated_by.name for one in FoundCause.objects.order_by("id")] == ["Ylva", house.registrar.name]


def test_only_a_death_has_a_cause(house: TankHouse, vet: Client) -> None:
    arrival = Event.objects.exclude(kind__in=("died", "put_down")).latest("id")
    assert vet.get(f"/event/{arrival.pk}/cause").status_code == 404


def test_a_cause_without_words_is_asked_for(vet: Client, death: int) -> None:
    assert "This field is required" in vet.post(f"/event/{death}/cause", {"how": "necropsy"}).text
    assert not FoundCause.objects.exists()


def test_what_was_found_is_never_altered(vet: Client, death: int) -> None:
    vet.post(f"/event/{death}/cause", {"cause": "gut blocked"})
    with pytest.raises(IntegrityError), transaction.atomic():
        FoundCause.objects.update(cause="old age")
    with pytest.raises(IntegrityError), transaction.atomic():
        FoundCause.objects.all().delete()
