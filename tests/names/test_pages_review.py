"""One name after another on the page, without any script: skip, progress, undo, open again."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.names.actions.taxa import taxa_for
from inventory.names.attention import items
from inventory.names.models import BackboneRelease, CheckState, NameCheck, NameDecision
from inventory.people.rules.roles import Role
from tests.factories import NOW, make_event, make_lot, make_person, make_place

from .test_pages import queued, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


@pytest.fixture
def registrar() -> Client:
    return signed_in(Role.REGISTRAR)


@pytest.fixture
def three(backbone: BackboneRelease) -> list[NameCheck]:
    """Three names in the queue, oldest first."""
    return [queued(typed) for typed in ("Carcinus meanas", "dogfish", "Anarhicas lupus")]


def page_of(check: NameCheck) -> str:
    return reverse("name_review", args=[check.pk])


def accept(client: Client, check: NameCheck, name: str) -> Any:
    return client.post(page_of(check), {"answer": f"suggestion|{name}"})


def test_addresses_have_no_slash_at_their_end(three: list[NameCheck], registrar: Client) -> None:
    for name, args in (("names_review", []), ("check_names", []), ("name_review", [three[0].pk])):
        address = reverse(name, args=args)
        assert not address.endswith("/")
        assert registrar.get(address).status_code == 200


def test_the_next_name_comes_by_itself(three: list[NameCheck], registrar: Client) -> None:
    assert registrar.get(reverse("name_next"))["Location"] == page_of(three[0])
    assert "<b>1 of 3</b>" in registrar.get(page_of(three[0])).content.decode()
    assert accept(registrar, three[0], "Carcinus maenas")["Location"] == page_of(three[1])
    text = registrar.get(page_of(three[1])).content.decode()
    assert "<b>2 of 3</b>" in text
    assert "(1 decided by you today)" in text


def test_a_skipped_name_comes_when_all_others_are_done(three: list[NameCheck], registrar: Client) -> None:
    skipped = registrar.post(reverse("name_skip", args=[three[0].pk]))
    assert skipped["Location"] == page_of(three[1])
    registrar.post(reverse("name_skip", args=[three[1].pk]))
    text = registrar.get(page_of(three[2])).content.decode()
    assert "<b>3 of 3</b>, 2 skipped" in text
    answer = accept(registrar, three[2], "Anarhichas lupus")
    assert answer["Location"] == page_of(three[0])
    assert "these are the names that you skipped" in registrar.get(page_of(three[0])).content.decode()


def test_after_the_last_name_comes_the_list(backbone: BackboneRelease, registrar: Client) -> None:
    answer = accept(registrar, queued("Carcinus meanas"), "Carcinus maenas")
    assert answer["Location"] == reverse("names_review")
    text = registrar.get(answer["Location"]).content.decode()
    assert "No name waits for a decision." in text
    # The last decision can be undone from here too.
    assert "Undo “Carcinus meanas”, decided as Carcinus maenas" in text


def test_undo_brings_the_name_back_to_the_page(three: list[NameCheck], registrar: Client) -> None:
    accept(registrar, three[0], "Carcinus maenas")
    assert "Undo “Carcinus meanas”" in registrar.get(page_of(three[1])).content.decode()
    answer = registrar.post(reverse("name_undo"))
    assert answer["Location"] == page_of(three[0])
    text = registrar.get(page_of(three[0])).content.decode()
    assert "Undone: “Carcinus meanas” is open again." in text
    assert "<b>1 of 3</b>" in text
    assert "no longer holds" in text
    assert [decision.kind for decision in NameDecision.objects.all()] == ["accept_suggestion", "undone"]


def test_nothing_to_undo_is_said_and_the_work_goes_on(three: list[NameCheck], registrar: Client) -> None:
    answer = registrar.post(reverse("name_undo"), follow=True)
    assert answer.request["PATH_INFO"] == page_of(three[0])
    assert "no decision of yours of the last 10 minutes" in answer.content.decode()


def test_only_the_registrar_opens_a_name_again(three: list[NameCheck], registrar: Client) -> None:
    accept(registrar, three[0], "Carcinus maenas")
    address = reverse("name_reopen", args=[three[0].pk])
    curator = signed_in(Role.CURATOR)
    assert "Open this name again" not in curator.get(page_of(three[0])).content.decode()
    assert curator.post(address, {"why": "so"}).status_code == 403
    assert "Open this name again" in registrar.get(page_of(three[0])).content.decode()
    refused = registrar.post(address, {"why": ""})
    assert (refused.status_code, "Say why" in refused.content.decode()) == (400, True)
    text = registrar.post(address, {"why": "two spines"}, follow=True).content.decode()
    assert "is open again; 1 lot stands under it" in text
    assert "two spines" in text


@pytest.mark.parametrize("address", ["name_next", "name_undo", "name_skip"])
def test_who_may_not_decide_may_not_go_through_the_queue(address: str, three: list[NameCheck]) -> None:
    client = signed_in(Role.AQUARIST)
    url = reverse(address, args=[three[0].pk] if address == "name_skip" else [])
    assert (client.get if address == "name_next" else client.post)(url).status_code == 403


def test_the_picture_shows_where_the_choices_part(backbone: BackboneRelease, registrar: Client) -> None:
    text = registrar.get(page_of(queued("sea snail"))).content.decode()
    assert "they part at the phylum" in text
    assert '<tr class="parts"><th scope="row">phylum' in text
    assert text.count("Mollusca</td>") == 1


def test_the_page_names_tanks_other_lots_and_earlier_forms(
    backbone: BackboneRelease, registrar: Client
) -> None:
    firm = make_lot("Z0", taxon=taxa_for(["Carcinus maenas"], now=NOW)["Carcinus maenas"])
    make_event(lot=firm, place=make_place("E09"), unknown=7)
    accept(registrar, queued("Carcinus maenus"), "Carcinus maenas")
    check = queued("Carcinus meanas", place=make_place("E06", name="Rock pool"))
    text = registrar.get(page_of(check)).content.decode()
    assert "E06 Rock pool</a>: 4" in text
    assert "Other lots that stand under one of the names offered" in text
    assert "Z0</a>" in text
    assert "“Carcinus maenus”</a> as <i" in text
    assert "Yes, the suggestion:" in text
    assert "held in the house" in text


def test_the_page_takes_the_same_queries_for_many_lots_and_forms(
    backbone: BackboneRelease, registrar: Client
) -> None:
    check = queued("dogfish", place=make_place("E06"))

    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            assert registrar.get(page_of(check)).status_code == 200
        return len(found)

    make_event(lot=make_lot(taxon=taxa_for(["Squalus acanthias"], now=NOW)["Squalus acanthias"]))
    accept(registrar, queued("Squalus acanthia"), "Squalus acanthias")
    few = queries()
    for n in range(6):
        make_event(lot=make_lot(taxon=check.taxon), place=make_place(f"E1{n}"), unknown=n + 1)
        make_event(lot=make_lot(taxon=taxa_for(["Squalus acanthias"], now=NOW)["Squalus acanthias"]))
        accept(registrar, queued(f"Squalus acanthi{'xyzkvw'[n]}s"), "Squalus acanthias")
    assert queries() == few


def test_a_wrong_answer_keeps_what_was_written(three: list[NameCheck], registrar: Client) -> None:
    answer = registrar.post(page_of(three[1]), {"answer": "new", "name": "Raja clavata", "why": ""})
    text = answer.content.decode()
    assert "needs a reason" in text
    assert 'value="Raja clavata"' in text
    assert 'value="new" required checked' in text


def test_another_name_is_given_on_the_page(three: list[NameCheck], registrar: Client) -> None:
    stated = {"answer": "new", "name": "Raja clavata", "why": "it is a ray"}
    assert registrar.post(page_of(three[1]), stated)["Location"] == page_of(three[0])
    assert NameDecision.objects.get().scientific_name == "Raja clavata"


def test_the_list_shows_a_part_and_the_next_name_is_of_that_part(
    three: list[NameCheck], registrar: Client
) -> None:
    make_event(lot=make_lot(taxon=three[2].taxon), place=make_place("E06", name="Rock pool"), unknown=2)
    for part, shown in (
        ("verdict=misspelling", {0, 2}),
        ("place=E06", {2}),
        ("verdict=common_name&place=E06", set()),
        ("days=1", set()),
        ("verdict=nonsense", {0, 1, 2}),
    ):
        text = registrar.get(f"{reverse('names_review')}?{part}").content.decode().partition("<tbody>")[2]
        assert {n for n, check in enumerate(three) if f"{check.typed}</a>" in text} == shown, part
    NameCheck.objects.bulk_create(
        [NameCheck(typed="old", verdict="misspelling", asked_at=NOW - timedelta(days=8))]
    )
    text = registrar.get(f"{reverse('names_review')}?days=7").content.decode()
    assert "1 name to review of this part" in text
    assert "old</a>" in text
    answer = registrar.post(f"{page_of(three[0])}?place=E06", {"answer": "suggestion|Carcinus maenas"})
    assert answer["Location"] == f"{page_of(three[2])}?place=E06"


def test_names_from_a_tank_are_checked_with_its_animals_first(
    backbone: BackboneRelease, registrar: Client
) -> None:
    lot = make_lot(taxon=taxa_for(["Squalus acanthias"], now=NOW)["Squalus acanthias"])
    make_event(lot=lot, place=make_place("E06"), unknown=1)
    stated = {"names": "dogfish", "place": "E06", "queue": "1"}
    text = registrar.post(reverse("check_names"), stated).content.decode()
    assert text.index("Squalus acanthias") < text.index("Scyliorhinus canicula")
    assert "held in this tank, so called in English" in text
    check = NameCheck.objects.get()
    assert (check.where_from, check.state) == ("page Check names, tank E06", CheckState.TO_REVIEW)
    refused = registrar.post(reverse("check_names"), {"names": "dogfish", "place": "E99"}).content.decode()
    assert "No animal has ever stood in a tank “E99”" in refused


def test_one_lot_is_not_lots_on_todays_page(backbone: BackboneRelease) -> None:
    queued("dogfish")
    (item,) = items(make_person(), now=NOW)
    assert item.lines[0].text.endswith(", 1 lot")
