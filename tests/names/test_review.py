"""Names in the queue, and people's decisions on them."""

from datetime import timedelta

import pytest

from inventory.book.models import Lot
from inventory.names.actions.review import ReviewError, check_many, review
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import (
    BackboneRelease,
    CheckState,
    DecisionKind,
    NameCheck,
    NameDecision,
    Taxon,
    TaxonName,
)
from inventory.people.models import Person
from tests.factories import NOW, make_lot, make_person

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)


@pytest.fixture
def registrar() -> Person:
    return make_person("Registrar under test")


def queued(typed: str, *, lots: int = 1) -> NameCheck:
    """A name that came in with a workbook, with lots under it."""
    taxon = taxa_for([typed], now=NOW)[typed]
    for _ in range(lots):
        make_lot(taxon=taxon, verbatim_identification=typed)
    return NameCheck.objects.get(typed=typed)


def test_only_doubtful_names_enter_the_queue_and_each_once(backbone: BackboneRelease) -> None:
    person = make_person()
    names = ["Gadus morhua", "dogfish", "", "Henricia sp.", "dogfish", "Anarhicas lupus"]
    verdicts = check_many(names, now=NOW, by=person, where_from="a slip")
    assert [verdict.typed for verdict in verdicts] == names
    check_many(names, now=LATER)
    waiting = NameCheck.objects.filter(state=CheckState.TO_REVIEW)
    assert [(check.typed, check.where_from, check.asked_by) for check in waiting] == [
        ("dogfish", "a slip", person),
        ("Anarhicas lupus", "a slip", person),
    ]


def test_whatever_was_typed_can_be_queued(backbone: BackboneRelease) -> None:
    typed = ["\x00", "a\x00b", "\ud800 fish", "\u202edogfish", "x" * 3_000, "é" * 300, "'; drop table", "\\"]
    check_many(typed, now=NOW)
    taxa = taxa_for([name for name in typed if name != "\x00"], now=NOW)
    assert set(taxa) == {name for name in typed if name != "\x00"}
    assert NameCheck.objects.filter(typed="a\ufffdb").exists()


def test_an_accepted_suggestion_renames_the_taxon_and_keeps_what_was_typed(
    backbone: BackboneRelease, registrar: Person
) -> None:
    check = queued("Carcinus meanas", lots=2)
    decision = review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=LATER)
    check.refresh_from_db()
    taxon = Taxon.objects.get()
    assert (check.typed, check.state, check.taxon) == ("Carcinus meanas", "decided", taxon)
    assert (taxon.scientific_name, taxon.authorship, taxon.phylum) == (
        "Carcinus maenas", "(Linnaeus, 1758)", "Arthropoda",
    )  # fmt: skip
    assert (decision.lots_touched, decision.decided_by, decision.decided_at) == (2, registrar, LATER)
    assert [(name.scientific_name, name.decided_by) for name in TaxonName.objects.all()] == [
        ("Carcinus meanas", None),
        ("Carcinus maenas", registrar),
    ]
    assert set(Lot.objects.values_list("verbatim_identification", flat=True)) == {"Carcinus meanas"}


def test_lots_go_to_the_taxon_that_the_house_has_already(
    backbone: BackboneRelease, registrar: Person
) -> None:
    firm = taxa_for(["Scyliorhinus canicula"], now=NOW)["Scyliorhinus canicula"]
    make_lot(taxon=firm)
    check = queued("dogfish", lots=3)
    decision = review(
        check.pk, kind=DecisionKind.CHOOSE, name="Scyliorhinus canicula", by=registrar, now=LATER
    )
    assert (decision.taxon, decision.lots_touched, firm.lots.count()) == (firm, 3, 4)
    assert Taxon.objects.get(scientific_name="dogfish").joined_into == firm
    assert not decision.for_next_time


def test_a_misapplied_name_may_be_kept_or_replaced_but_only_by_a_person(
    backbone: BackboneRelease, registrar: Person
) -> None:
    check = queued("Maja squinado")
    with pytest.raises(ReviewError, match="no suggestion"):
        review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=LATER)
    review(check.pk, kind=DecisionKind.CHOOSE, name="Maja brachydactyla", by=registrar, now=LATER)
    taxon = Taxon.objects.get()
    assert (taxon.scientific_name, taxon.authorship, taxon.rank) == (
        "Maja brachydactyla", "Balss, 1922", "species",
    )  # fmt: skip


def test_a_qualifier_stays_with_the_animals(backbone: BackboneRelease, registrar: Person) -> None:
    firm = taxa_for(["Urticina felina"], now=NOW)["Urticina felina"]
    check = queued("Urticina cf. felina")
    decision = review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=LATER)
    assert (decision.scientific_name, decision.qualifier) == ("Urticina felina", "cf.")
    assert decision.taxon != firm
    assert (decision.taxon.scientific_name, decision.taxon.identification_qualifier) == (
        "Urticina cf. felina", "cf.",
    )  # fmt: skip


def test_a_person_can_make_a_doubtful_name_firm(backbone: BackboneRelease, registrar: Person) -> None:
    firm = taxa_for(["Urticina felina"], now=NOW)["Urticina felina"]
    check = queued("Urticina cf. felina")
    decision = review(
        check.pk,
        kind=DecisionKind.NEW_ACCEPTED_NAME,
        name="Urticina felina",
        why="tentacles looked at",
        by=registrar,
        now=LATER,
    )
    assert (decision.taxon, firm.lots.count()) == (firm, 1)


def test_a_name_unknown_to_the_backbone_can_be_given_with_its_author(
    backbone: BackboneRelease, registrar: Person
) -> None:
    check = queued("giant goby")
    review(
        check.pk,
        kind=DecisionKind.NEW_ACCEPTED_NAME,
        name="Gobius cobitis Pallas, 1814",
        why="key of the shore fishes",
        by=registrar,
        now=LATER,
    )
    taxon = Taxon.objects.get()
    assert (taxon.scientific_name, taxon.authorship) == ("Gobius cobitis", "Pallas, 1814")


def test_a_kept_name_is_settled_with_its_reason(backbone: BackboneRelease, registrar: Person) -> None:
    check = queued("Gadus xyzzus")
    decision = review(
        check.pk, kind=DecisionKind.KEEP_AS_TYPED, why="described last week", by=registrar, now=LATER
    )
    assert (decision.taxon.scientific_name, decision.taxon.family, decision.why) == (
        "Gadus xyzzus", "Gadidae", "described last week",
    )  # fmt: skip
    assert taxa_for(["Gadus xyzzus"], now=LATER)["Gadus xyzzus"] == decision.taxon
    assert NameCheck.objects.count() == 1


def test_a_decision_does_not_touch_a_taxon_that_was_renamed_meanwhile(
    backbone: BackboneRelease, registrar: Person
) -> None:
    first, second = queued("dogfish", lots=1), queued("dogfish ", lots=0)
    assert first.taxon == second.taxon
    review(first.pk, kind=DecisionKind.CHOOSE, name="Scyliorhinus canicula", by=registrar, now=LATER)
    decision = review(second.pk, kind=DecisionKind.CHOOSE, name="Squalus acanthias", by=registrar, now=LATER)
    assert decision.lots_touched == 0
    assert Lot.objects.get().taxon.scientific_name == "Scyliorhinus canicula"


@pytest.mark.parametrize(
    ("typed", "decision", "what"),
    [
        ("dogfish", {"kind": "choose", "name": "Gadus morhua"}, "Expected one of Scyliorhinus canicula"),
        ("dogfish", {"kind": "keep_as_typed"}, "needs a reason"),
        ("dogfish", {"kind": "new_accepted_name", "name": "Raja clavata"}, "needs a reason"),
        ("dogfish", {"kind": "new_accepted_name", "why": "seen"}, "Expected a scientific name"),
        ("dogfish", {"kind": "new_accepted_name", "name": "Sagartia elegans", "why": "seen"}, "Cylista"),
        ("hairy triton", {"kind": "choose", "name": "Raja clavata"}, "no choices"),
        ("Anarhicas lupus", {"kind": "accept_suggestion", "name": "Gadus morhua"}, "is Anarhichas lupus now"),
    ],
)  # fmt: skip
def test_a_decision_that_cannot_be_is_refused_and_changes_nothing(
    typed: str, decision: dict[str, str], what: str, backbone: BackboneRelease, registrar: Person
) -> None:
    check = queued(typed)
    with pytest.raises(ReviewError, match=what):
        review(
            check.pk,
            kind=DecisionKind(decision["kind"]),
            name=decision.get("name", ""),
            why=decision.get("why", ""),
            by=registrar,
            now=LATER,
        )
    check.refresh_from_db()
    assert check.state == CheckState.TO_REVIEW
    assert not NameDecision.objects.exists()


def test_a_name_is_decided_once(backbone: BackboneRelease, registrar: Person) -> None:
    check = queued("Anarhicas lupus")
    review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=LATER)
    with pytest.raises(ReviewError, match="decided already"):
        review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=LATER)


def test_a_name_queued_without_a_backbone_is_decided_with_the_one_loaded_since(
    request: pytest.FixtureRequest, registrar: Person
) -> None:
    check = queued("Gobiusculus flavescens")
    request.getfixturevalue("backbone")
    decision = review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=LATER)
    assert decision.taxon.scientific_name == "Pomatoschistus flavescens"
    assert decision.taxon.names.last() is not None
    assert check.verdict == "not_found"
