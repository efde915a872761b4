"""Taxa for the names of a workbook."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.names.actions.review import review
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease, CheckState, DecisionKind, NameCheck, Taxon, TaxonName
from inventory.names.rules.verdicts import TaxonRow
from tests.factories import NOW, make_person

pytestmark = pytest.mark.django_db


def test_a_synonym_and_its_accepted_name_are_one_taxon(backbone: BackboneRelease) -> None:
    taxa = taxa_for(["Gobiusculus flavescens", "Pomatoschistus flavescens"], now=NOW)
    assert taxa["Gobiusculus flavescens"] == taxa["Pomatoschistus flavescens"]
    taxon = Taxon.objects.get()
    assert (taxon.scientific_name, taxon.phylum, taxon.class_name, taxon.family) == (
        "Pomatoschistus flavescens", "Chordata", "Teleostei", "Gobiidae",
    )  # fmt: skip
    assert not NameCheck.objects.exists()
    assert TaxonName.objects.get().release == backbone


@pytest.mark.parametrize(
    ("typed", "name", "qualifier", "queued"),
    [
        ("dogfish", "dogfish", "", True),
        ("Maja squinado", "Maja squinado", "", True),
        ("Anarhicas lupus", "Anarhicas lupus", "", True),
        ("hairy triton", "hairy triton", "", True),
        ("Urticina cf. felina", "Urticina cf. felina", "cf.", True),
        ("Henricia sp. A", "Henricia sp. A", "sp. A", True),
        ("Henricia sp.", "Henricia", "sp.", False),
        ("Gadus morhua", "Gadus morhua", "", False),
    ],
)
def test_a_doubtful_name_is_kept_as_typed_and_queued_once(
    typed: str, name: str, qualifier: str, queued: bool, backbone: BackboneRelease
) -> None:
    for _ in range(2):
        taxon = taxa_for([typed], now=NOW, where_from="opening.xlsx")[typed]
        assert (taxon.scientific_name, taxon.identification_qualifier) == (name, qualifier)
    checks = list(NameCheck.objects.values_list("typed", "where_from", "taxon"))
    assert checks == ([(typed, "opening.xlsx", taxon.pk)] if queued else [])
    assert Taxon.objects.count() == TaxonName.objects.count() == 1


def test_a_qualified_name_stands_beside_the_firm_one_with_its_classification(
    backbone: BackboneRelease,
) -> None:
    taxa = taxa_for(["Urticina cf. felina", "Urticina felina"], now=NOW)
    doubtful, firm = taxa["Urticina cf. felina"], taxa["Urticina felina"]
    assert doubtful != firm
    assert (doubtful.family, doubtful.authorship) == (firm.family, firm.authorship) != ("", "")


def test_without_a_backbone_every_name_is_accepted_to_be_reviewed() -> None:
    taxa = taxa_for(["Gadus morhua", "dogfish"], now=NOW)
    assert [taxon.scientific_name for taxon in taxa.values()] == ["Gadus morhua", "dogfish"]
    checks = NameCheck.objects.all()
    assert [(check.typed, check.verdict, check.release) for check in checks] == [
        ("Gadus morhua", "not_found", None),
        ("dogfish", "not_found", None),
    ]


def test_a_name_that_waits_stands_where_it_stood_when_a_backbone_comes(
    request: pytest.FixtureRequest,
) -> None:
    before = taxa_for(["Gobiusculus flavescens"], now=NOW)
    request.getfixturevalue("backbone")
    assert taxa_for(["Gobiusculus flavescens"], now=NOW) == before


def test_what_the_rows_say_is_filled_in_and_blanks_change_nothing(backbone: BackboneRelease) -> None:
    said = TaxonRow("Labrus bergylta", "ballan wrasse", "B", "animal", "birth", True, False, "")
    taxa_for([said], now=NOW)
    taxa_for(["Labrus bergylta", TaxonRow("Labrus bergylta", common_name="")], now=NOW)
    taxon = Taxon.objects.get()
    assert (taxon.common_name, taxon.count_class, taxon.counts_in_from) == ("ballan wrasse", "B", "birth")
    assert taxon.can_change_sex
    assert not taxon.can_divide


def test_a_blank_name_is_refused() -> None:
    with pytest.raises(ValueError, match="no name"):
        taxa_for(["Gadus morhua", " \t"], now=NOW)
    assert not Taxon.objects.exists()


def test_a_decision_for_next_time_is_remembered_and_one_for_these_animals_is_not(
    backbone: BackboneRelease,
) -> None:
    taxa_for(["Anarhicas lupus", "dogfish"], now=NOW)
    registrar = make_person()
    by_name = {check.typed: check.pk for check in NameCheck.objects.all()}
    review(by_name["Anarhicas lupus"], kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=NOW)
    review(by_name["dogfish"], kind=DecisionKind.CHOOSE, name="Scyliorhinus canicula", by=registrar, now=NOW)
    again = taxa_for(["Anarhicas lupus", "dogfish"], now=NOW)
    assert again["Anarhicas lupus"].scientific_name == "Anarhichas lupus"
    assert again["dogfish"].scientific_name == "dogfish"
    assert list(NameCheck.objects.filter(state=CheckState.TO_REVIEW).values_list("typed", flat=True)) == [
        "dogfish"
    ]


def test_queries_do_not_grow_with_the_names(backbone: BackboneRelease) -> None:
    def queries(names: list[str]) -> int:
        with CaptureQueriesContext(connection) as few:
            taxa_for([TaxonRow(name, count_class="B") for name in names], now=NOW)
        return len(few)

    few = queries(["Gadus morhua", "dogfish", "Anarhicas lupus"])
    many = queries(
        ["Labrus mixtus", "sea snail", "Carcinus meanas", *(f"Animal number {n}" for n in range(30))]
    )
    assert many == few
