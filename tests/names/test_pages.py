"""The pages of the names room."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.names.actions.taxa import taxa_for
from inventory.names.attention import items
from inventory.names.models import BackboneRelease, NameCheck, NameDecision
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from tests.factories import NOW, make_event, make_house, make_lot, make_person, make_place

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


def signed_in(*roles: Role) -> Client:
    client = Client()
    person = make_person(roles=[role.value for role in roles], signs_in=True)
    assert person.user is not None
    client.force_login(person.user)
    return client


@pytest.fixture
def registrar() -> Client:
    return signed_in(Role.REGISTRAR)


def queued(typed: str, *, place: Any = None) -> NameCheck:
    taxon = taxa_for([typed], now=NOW, where_from="opening.xlsx")[typed]
    make_event(lot=make_lot(taxon=taxon), place=place, unknown=4)
    return NameCheck.objects.get(typed=typed)


@pytest.mark.parametrize("page", ["names_review", "check_names"])
def test_nobody_gets_in_without_signing_in(page: str, client: Client) -> None:
    answer = client.get(reverse(page))
    assert (answer.status_code, reverse("sign_in") in answer["Location"]) == (302, True)


def test_the_queue_shows_what_was_typed_oldest_first(backbone: BackboneRelease, registrar: Client) -> None:
    for typed in ("dogfish", "Anarhicas lupus"):
        queued(typed)
    text = registrar.get(reverse("names_review")).content.decode()
    assert text.index("dogfish</a>") < text.index("Anarhicas lupus</a>")
    assert "Scyliorhinus stellaris" in text
    assert "2 names to review" in text


def test_the_queue_takes_the_same_queries_for_many_names(
    backbone: BackboneRelease, registrar: Client
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            assert registrar.get(reverse("names_review")).status_code == 200
        return len(found)

    queued("dogfish")
    few = queries()
    for n in range(12):
        queued(f"animal number {n}")
    assert queries() == few


def test_dogfish_offers_its_three_sharks_those_of_the_same_tank_first(
    backbone: BackboneRelease, registrar: Client
) -> None:
    place = make_place("E06")
    held = taxa_for(["Scyliorhinus stellaris"], now=NOW)["Scyliorhinus stellaris"]
    make_event(lot=make_lot(taxon=held), place=place, unknown=3)
    check = queued("dogfish", place=place)
    text = registrar.get(reverse("name_review", args=[check.pk])).content.decode()
    names = ("Scyliorhinus stellaris", "Scyliorhinus canicula", "Squalus acanthias")
    stellaris, canicula, squalus = (text.index(f'value="choice|{name}|') for name in names)
    assert stellaris < canicula < squalus
    assert "held in this tank" in text
    assert "so called in English" in text
    assert 'value="suggestion|' not in text


def test_sea_snail_shows_the_phyla(backbone: BackboneRelease, registrar: Client) -> None:
    text = registrar.get(reverse("name_review", args=[queued("sea snail").pk])).content.decode()
    assert "phylum Chordata" in text
    assert "phylum Mollusca" in text


def test_a_misapplied_name_warns(backbone: BackboneRelease, registrar: Client) -> None:
    check = queued("Maja squinado", place=make_place("E07"))
    text = registrar.get(reverse("name_review", args=[check.pk])).content.decode()
    assert text.index('value="choice|Maja brachydactyla|') < text.index('value="choice|Maja squinado|')
    assert "held in this tank" not in text
    assert "right elsewhere and wrong here" in text
    assert "Ask the registrar" in text


def test_the_registrar_decides_on_the_page(backbone: BackboneRelease, registrar: Client) -> None:
    check = queued("dogfish")
    answer = registrar.post(
        reverse("name_review", args=[check.pk]),
        {"answer": "choice|Scyliorhinus canicula|(Linnaeus, 1758)", "why": "lesser spots"},
        follow=True,
    )
    assert "1 lot stands under Scyliorhinus canicula now" in answer.content.decode()
    decision = NameDecision.objects.get()
    assert (decision.scientific_name, decision.why, decision.decided_at) == (
        "Scyliorhinus canicula", "lesser spots", NOW,
    )  # fmt: skip
    page = registrar.get(reverse("name_review", args=[check.pk])).content.decode()
    assert "Decisions on this name" in page
    assert 'name="answer"' not in page


def test_one_tap_accepts_a_suggestion(backbone: BackboneRelease, registrar: Client) -> None:
    check = queued("Carcinus meanas")
    registrar.post(
        reverse("name_review", args=[check.pk]),
        {"answer": "suggestion|Carcinus maenas", "for_next_time": "on"},
    )
    decision = NameDecision.objects.get()
    assert (decision.taxon.scientific_name, decision.for_next_time) == ("Carcinus maenas", True)


@pytest.mark.parametrize(
    "stated",
    [
        {},
        {"answer": "choice"},
        {"answer": "keep"},
        {"answer": "new", "name": "Raja clavata"},
        {"answer": "choice|Gadus morhua|"},
        {"answer": "suggestion|Gadus morhua"},
        {"answer": "perhaps"},
        {"answer": "undone"},
    ],
)
def test_a_wrong_form_says_what_was_expected_and_changes_nothing(
    stated: dict[str, str], backbone: BackboneRelease, registrar: Client
) -> None:
    check = queued("dogfish")
    answer = registrar.post(reverse("name_review", args=[check.pk]), stated)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.content.decode()
    assert not NameDecision.objects.exists()


@pytest.mark.parametrize("role", [Role.AQUARIST, Role.INSPECTOR, Role.ADMINISTRATOR])
def test_only_registrar_and_curator_decide(role: Role, backbone: BackboneRelease) -> None:
    check = queued("Carcinus meanas")
    client = signed_in(role)
    page = client.get(reverse("name_review", args=[check.pk])).content.decode()
    assert "The registrar or the curator decides this name." in page
    answer = client.post(reverse("name_review", args=[check.pk]), {"answer": "suggestion|Carcinus maenas"})
    assert answer.status_code == 403
    assert client.post(reverse("name_gbif", args=[check.pk])).status_code == 403
    assert not NameDecision.objects.exists()


def test_pasted_names_get_a_verdict_each_and_change_nothing(
    backbone: BackboneRelease, registrar: Client
) -> None:
    answer = registrar.post(
        reverse("check_names"), {"names": "Gadus morhua\r\n\r\n<b>dogfish</b>\r\ndogfish"}
    )
    text = answer.content.decode()
    assert "4 lines, 3 of them for a person to look at" in text
    assert "a common name of 3 taxa" in text
    assert "<b>dogfish</b>" not in text
    assert not NameCheck.objects.exists()


def test_doubtful_names_are_put_up_for_review_on_demand(backbone: BackboneRelease, registrar: Client) -> None:
    registrar.post(reverse("check_names"), {"names": "Gadus morhua\ndogfish", "queue": "1"})
    check = NameCheck.objects.get()
    assert (check.typed, check.asked_at, check.taxon) == ("dogfish", NOW, None)
    assert registrar.get(reverse("name_review", args=[check.pk])).status_code == 200


def test_an_inspector_puts_nothing_into_the_queue(backbone: BackboneRelease) -> None:
    signed_in(Role.INSPECTOR).post(reverse("check_names"), {"names": "dogfish", "queue": "1"})
    assert not NameCheck.objects.exists()


def test_too_many_lines_are_refused_with_the_way_out(backbone: BackboneRelease, registrar: Client) -> None:
    text = registrar.post(reverse("check_names"), {"names": "Gadus\n" * 2001}).content.decode()
    assert "at most 2000" in text
    assert "the command check_names" in text


def test_the_pages_say_when_no_backbone_is_loaded(registrar: Client) -> None:
    assert "No backbone is loaded" in registrar.get(reverse("names_review")).content.decode()
    assert "backbone load PATH" in registrar.get(reverse("check_names")).content.decode()


def test_names_to_review_are_on_todays_page(backbone: BackboneRelease) -> None:
    person: Person = make_person("Maren", roles=["registrar"])
    make_house(registrar=person)
    assert items(person, now=NOW) == []
    queued("dogfish")
    (item,) = items(person, now=NOW)
    assert (item.total, item.lines[0].owner) == (1, "Maren")
    assert "dogfish" in item.lines[0].text
