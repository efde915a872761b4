"""What the lists that come along say of animals of the demo's backbone, and of a house without one.

Source of the names and of the classification: fixtures/backbone. That a listing of a group covers all
its species is how the Convention's own appendices are written ("Scleractinia spp."): from memory.
"""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.names.actions.lists import load_lists
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease, Taxon
from inventory.names.queries.lists import cautions_of_names, list_rows, listing_rows, listings_of
from inventory.names.store import where
from tests.factories import NOW, make_taxon

from .test_lists_load import SHIPPED

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_lists")]


@pytest.fixture
def _lists(db: None) -> None:
    load_lists(SHIPPED, now=NOW)


def says(taxon: Taxon, kind: str) -> list[tuple[str, str]]:
    """(what the list says, why it speaks of the taxon), those of every animal left out."""
    return [
        (one.entry.annotation, one.reason.words)
        for one in listings_of([taxon])[taxon.pk]
        if one.entry.of_list.kind == kind and not one.reason.is_general
    ]


@pytest.mark.usefixtures("backbone")
@pytest.mark.parametrize(
    ("name", "kind", "expected"),
    [
        ("Anguilla anguilla", "legal", [("Appendix II", "by this name")]),
        ("Hippocampus guttulatus", "legal", [("Appendix II", "all of the genus Hippocampus")]),
        ("Caryophyllia smithii", "legal", [("Appendix II", "all of the order Scleractinia")]),
        ("Magallana gigas", "non_native", [("introduced, farmed", "under the name Crassostrea gigas")]),
        ("Crassostrea gigas", "non_native", [("introduced, farmed", "under the name Crassostrea gigas")]),
        ("Styela clava", "non_native", [("introduced", "by this name")]),
        ("Conger conger", "hazard", [("bites hard", "all of the family Congridae")]),
        ("Conger conger", "legal", []),
        ("Corynactis viridis", "legal", []),
    ],
)
def test_an_animal_is_listed_by_name_by_older_name_or_with_its_group(
    name: str, kind: str, expected: list[tuple[str, str]]
) -> None:
    assert says(taxa_for([name], now=NOW)[name], kind) == expected


def test_without_a_backbone_the_houses_own_names_still_count() -> None:
    eel = make_taxon("Anguilla anguilla")
    seahorse = make_taxon("Hippocampus guttulatus")
    assert says(eel, "legal") == [("Appendix II", "by this name")]
    assert says(seahorse, "legal") == [("Appendix II", "all of the genus Hippocampus")]


def test_a_backbone_whose_file_is_gone_costs_synonyms_and_no_page(backbone: BackboneRelease) -> None:
    eel = taxa_for(["Anguilla anguilla"], now=NOW)["Anguilla anguilla"]
    if connection.vendor == "sqlite":
        where.remove(backbone.pk, backbone.fingerprint)
    assert says(eel, "legal") == [("Appendix II", "by this name")]


def test_every_animal_has_the_cautions_of_all_work_with_animals() -> None:
    star = make_taxon("Asterias rubens")
    general = [one.entry.annotation for one in listings_of([star])[star.pk] if one.reason.is_general]
    assert "tank water and wounds" in general
    assert "no release into the wild without permission" in general
    assert cautions_of_names(["Asterias rubens"]) == []


def test_cautions_are_told_once_with_all_the_animals_that_bring_them() -> None:
    for name, family in (("Cancer pagurus", "Cancridae"), ("Necora puber", "Polybiidae")):
        make_taxon(name, family=family)
    (caution,) = cautions_of_names(["Cancer pagurus", "Necora puber", "unknown to the house"])
    assert caution.words == "pinches hard"
    assert [taxon.scientific_name for taxon in caution.taxa] == ["Cancer pagurus", "Necora puber"]


def test_a_seahorse_that_nobody_identified_may_be_a_listed_species(tmp_path: Path) -> None:
    (tmp_path / "fish.csv").write_text(
        "list,Fish\nkind,protected\nauthority,nobody\nsource,a trial\nsource_date,2026\nmark,memory\n"
        "scientific_name,rank,annotation\nHippocampus guttulatus,species,protected\n"
    )
    load_lists(tmp_path, now=NOW)
    found = says(make_taxon("Hippocampus", rank="genus", genus="Hippocampus"), "protected")
    assert [words[:7] for _, words in found] == ["perhaps"]
    assert says(make_taxon("Syngnathus", rank="genus", genus="Syngnathus"), "protected") == []


def test_only_the_version_in_use_speaks(tmp_path: Path) -> None:
    text = (SHIPPED / "cites.csv").read_text(encoding="utf-8")
    (tmp_path / "cites.csv").write_text(text.replace("Anguilla anguilla", "Anguilla rostrata"))
    load_lists(tmp_path, now=NOW)
    assert says(make_taxon("Anguilla anguilla"), "legal") == []


@pytest.mark.usefixtures("backbone")
def test_queries_do_not_grow_with_taxa() -> None:
    # A name with synonyms among the first, so that both rounds ask the same questions.
    names = ["Magallana gigas", "Conger conger", "Gadus morhua"]
    more = ["Caryophyllia smithii", "Octopus vulgaris", "Cancer pagurus", "Styela clava", "Raja clavata"]
    taxa = list(taxa_for([*names, *more], now=NOW).values())
    counts = []
    for some in (taxa[:3], taxa):
        with CaptureQueriesContext(connection) as asked:
            listings_of(some)
        counts.append(len(asked))
    assert counts[0] == counts[1]
    assert sum("names_listentry" in query["sql"] for query in asked) == 1


@pytest.mark.usefixtures("backbone")
def test_the_lists_say_how_many_taxa_of_the_house_they_reach() -> None:
    taxa_for(["Anguilla anguilla", "Hippocampus guttulatus", "Gadus morhua"], now=NOW)
    assert {row["list"]: row["taxa_here"] for row in list_rows()}["CITES Appendices, examples"] == 2


def test_the_command_tells_what_the_lists_say_of_one_taxon() -> None:
    taxon = make_taxon("Conger conger", family="Congridae")
    out = StringIO()
    call_command("lists", "show", "Conger conger", "--format", "csv", stdout=out)
    assert "bites hard" in out.getvalue()
    assert {row["taxon"] for row in listing_rows(taxon)} == {"Conger conger"}
