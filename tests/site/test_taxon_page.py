"""The page of one taxon, and the lines on lots and places that lead there."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book import blind
from inventory.names.actions.backbone import load_release
from inventory.names.actions.lists import load_lists
from inventory.names.models import Taxon, TaxonName
from inventory.names.rules.lists import NOT_MEDICAL_ADVICE
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .. import factories
from .conftest import SmallHouse

AsRole = Callable[[Role], Client]
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
CONGER = "/taxon/Conger%20conger"


@pytest.fixture
def _lists(small_house: SmallHouse) -> None:
    load_lists(FIXTURES / "lists", now=factories.NOW)
    Taxon.objects.filter(scientific_name="Conger conger").update(
        kingdom="Animalia", family="Congridae", authorship="(Linnaeus, 1758)"
    )


@pytest.mark.usefixtures("_lists")
def test_cautions_come_first_with_what_to_do_source_and_whom_to_follow(as_role: AsRole) -> None:
    page = as_role(Role.COUNTER).get(CONGER).text
    order = [
        page.index(text)
        for text in (
            "Cautions</h2>",
            "strong jaws",
            "Stop the bleeding",
            "Common practice, no source",
            NOT_MEDICAL_ADVICE,
            "Law and lists</h2>",
            "Where it lives now</h2>",
            "Cautions for work with any animal</h2>",
            "Mycobacterium marinum",
            "Ohio State University",
        )
    ]
    assert order == sorted(order)
    assert page.count("<article>") == page.count(NOT_MEDICAL_ADVICE) == 5


@pytest.mark.usefixtures("_lists")
def test_law_is_told_with_authority_source_date_and_mark(as_role: AsRole) -> None:
    factories.make_taxon("Caryophyllia smithii", order="Scleractinia", kingdom="Animalia")
    page = as_role(Role.PERMIT_OFFICER).get("/taxon/Caryophyllia%20smithii").text
    for text in (
        '<span class="tag">Appendix II</span>',
        "all of the order Scleractinia; listed as Scleractinia",
        "Convention on International Trade in Endangered Species",
        "from memory: check it against the source",
        '<td class="when">2026</td>',
    ):
        assert text in page


@pytest.mark.usefixtures("_lists")
def test_a_taxon_without_listings_is_not_called_harmless(as_role: AsRole) -> None:
    page = as_role(Role.AQUARIST).get("/taxon/Labrus%20mixtus").text
    assert "not a promise that it is harmless" in page
    assert "not proof that no law does" in page
    assert "does not know where this name belongs" in page


def test_the_page_tells_where_it_lives_and_what_it_was_called(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    taxon = small_house.conger.taxon
    TaxonName.objects.create(
        taxon=taxon, scientific_name="Muraena conger", since=factories.NOW, why="an older book"
    )
    page = as_role(Role.INSPECTOR).get(CONGER).text
    assert 'href="/lot/A2"' in page
    assert 'href="/place/E02"' in page
    assert "“" not in page.split("Where it lives now</h2>")[1].split("</table>")[0]
    assert "Muraena conger" in page
    assert "<strong>1 animal</strong>" in page
    assert "no backbone is loaded" in page


def test_synonyms_and_common_names_are_those_of_the_release(small_house: SmallHouse, as_role: AsRole) -> None:
    backbone = load_release(FIXTURES / "backbone", now=factories.NOW).release
    factories.make_taxon("Magallana gigas", phylum="Mollusca")
    page = as_role(Role.REGISTRAR).get("/taxon/Magallana%20gigas").text
    names = page[page.index("Its names</h2>") :]
    assert '<i class="name">Crassostrea gigas</i>' in names
    assert str(backbone) in names


def test_a_taxon_that_was_joined_leads_to_the_other(small_house: SmallHouse, as_role: AsRole) -> None:
    factories.make_taxon("Conger congr", joined_into=small_house.conger.taxon)
    page = as_role(Role.REGISTRAR).get("/taxon/Conger%20congr").text
    assert f'href="{CONGER}"' in page


def test_an_unknown_taxon_is_a_plain_404_and_a_stranger_signs_in(
    small_house: SmallHouse, as_role: AsRole
) -> None:
    assert as_role(Role.REGISTRAR).get("/taxon/Conger%20nobody").status_code == 404
    assert Client().get(CONGER).status_code == 302


@pytest.mark.usefixtures("_lists")
@pytest.mark.parametrize("url", ["/lot/A2", "/place/E02"])
def test_lots_and_places_say_it_in_a_line_that_leads_to_the_page(as_role: AsRole, url: str) -> None:
    page = as_role(Role.AQUARIST).get(url).text
    caution = page[page.index("Caution:") : page.index("What to do first")]
    assert "bites hard" in caution
    assert f'href="{CONGER}"' in caution
    assert "tank water" not in caution


@pytest.mark.usefixtures("_lists")
def test_a_lot_tells_its_listings_in_a_word(small_house: SmallHouse, as_role: AsRole) -> None:
    eels = factories.make_lot("A9", taxon=factories.make_taxon("Anguilla anguilla"))
    factories.make_event("received", lot=eels, place="E02", unknown=3)
    page = as_role(Role.AQUARIST).get("/lot/A9").text
    assert 'CITES Appendices, examples: <span class="tag">Appendix II</span>' in page


def test_who_counts_a_place_does_not_see_its_numbers_here(
    small_house: SmallHouse, as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    def hides(person: Person) -> set[int]:
        return {small_house.kelp_hall.pk} if person.name == "The aquarist" else set()

    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(hides)
    factories.make_event("received", lot="A1", place="E02", males=7123)
    # The same animals elsewhere: their number stays, but no sum that tells the hidden one.
    factories.make_event("moved", lot="A1", place="E02", to_place="Q1", males=23, happened="2026-09-20")
    url = "/taxon/Labrus%20mixtus"
    hidden = as_role(Role.AQUARIST).get(url).text
    assert "hidden from you until the sheet is handed in" in hidden
    assert "23 animals" in hidden
    assert not any(number in hidden for number in ("7,1", "7100", "7105", "7123", "7128", "Held now"))
    assert "7,128" in as_role(Role.REGISTRAR).get(url).text


@pytest.mark.usefixtures("_lists")
def test_queries_do_not_grow_with_lots_places_or_names(small_house: SmallHouse, as_role: AsRole) -> None:
    client = as_role(Role.REGISTRAR)
    client.get(CONGER)
    counts = []
    for more in (1, 10):
        for _ in range(more):
            lot = factories.make_lot(taxon=small_house.conger.taxon)
            factories.make_event("received", lot=lot, place=factories.make_place(), unknown=3)
            TaxonName.objects.create(
                taxon=lot.taxon,
                scientific_name="Conger conger",
                since=factories.NOW,
                decided_by=small_house.registrar,
            )
        with CaptureQueriesContext(connection) as asked:
            assert client.get(CONGER).status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]
    assert counts[0] <= 20
