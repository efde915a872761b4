"""Decisions taken back: at once, or later by opening the name again. Everything stays on record."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from inventory.book.models import Lot
from inventory.names.actions.review import ReviewError, review
from inventory.names.actions.taxa import taxa_for
from inventory.names.actions.undo import fields_of, last_decision, reopen, undo_last
from inventory.names.models import (
    BackboneRelease,
    CheckState,
    DecisionKind,
    MovedLot,
    NameCheck,
    NameDecision,
    Taxon,
    TaxonName,
)
from inventory.people.models import Person
from tests.factories import NOW, make_lot, make_person

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)
SOON = LATER + timedelta(minutes=9)
TOO_LATE = LATER + timedelta(minutes=10)


@pytest.fixture
def registrar() -> Person:
    return make_person("Registrar under test")


def queued(typed: str, *, lots: int = 1) -> NameCheck:
    taxon = taxa_for([typed], now=NOW)[typed]
    for _ in range(lots):
        make_lot(taxon=taxon, verbatim_identification=typed)
    return NameCheck.objects.get(typed=typed)


def decided(typed: str, name: str, by: Person, *, lots: int = 1) -> NameCheck:
    """A queued name that was decided to be ``name``."""
    check = queued(typed, lots=lots)
    review(check.pk, kind=DecisionKind.CHOOSE, name=name, by=by, now=LATER)
    check.refresh_from_db()
    return check


def where() -> dict[str, str]:
    """The name under which each lot stands."""
    return dict(Lot.objects.values_list("accession", "taxon__scientific_name"))


def test_a_renamed_taxon_bears_its_old_name_again(backbone: BackboneRelease, registrar: Person) -> None:
    check = queued("Carcinus meanas", lots=2)
    before = fields_of(Taxon.objects.get())
    decision = review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=LATER)
    assert fields_of(Taxon.objects.get()) != before
    undone = undo_last(by=registrar, now=SOON)
    check.refresh_from_db()
    assert fields_of(Taxon.objects.get()) == before
    assert (check.state, check.taxon) == (CheckState.TO_REVIEW, Taxon.objects.get())
    assert (undone.kind, undone.undoes, undone.lots_touched) == ("undone", decision, 2)
    assert list(NameDecision.objects.all()) == [decision, undone]
    assert [(name.scientific_name, name.since) for name in TaxonName.objects.all()] == [
        ("Carcinus meanas", NOW),
        ("Carcinus maenas", LATER),
        ("Carcinus meanas", SOON),
    ]


def test_lots_that_were_joined_stand_apart_again_and_others_stay(
    backbone: BackboneRelease, registrar: Person
) -> None:
    firm = taxa_for(["Scyliorhinus canicula"], now=NOW)["Scyliorhinus canicula"]
    stays = make_lot(taxon=firm)
    before = where() | {}
    check = decided("dogfish", "Scyliorhinus canicula", registrar, lots=2)
    assert set(where().values()) == {"Scyliorhinus canicula"}
    arrived = make_lot(taxon=firm)
    undo_last(by=registrar, now=SOON)
    check.refresh_from_db()
    assert where()[stays.accession] == before[stays.accession] == "Scyliorhinus canicula"
    assert where()[arrived.accession] == "Scyliorhinus canicula"
    assert sorted(where().values()).count("dogfish") == 2
    assert Taxon.objects.get(scientific_name="dogfish").joined_into is None
    assert check.taxon == Taxon.objects.get(scientific_name="dogfish")
    # There and back: a report under the names of any moment finds each lot where it stood.
    assert MovedLot.objects.count() == 4


def test_a_name_without_animals_is_only_open_again(backbone: BackboneRelease, registrar: Person) -> None:
    check = NameCheck.objects.create(typed="dogfish", verdict="common_name", asked_at=NOW)
    review(check.pk, kind=DecisionKind.CHOOSE, name="Squalus acanthias", by=registrar, now=LATER)
    undo_last(by=registrar, now=SOON)
    check.refresh_from_db()
    assert (check.state, check.taxon) == (CheckState.TO_REVIEW, None)


def test_undone_twice_takes_back_two(backbone: BackboneRelease, registrar: Person) -> None:
    first = decided("dogfish", "Squalus acanthias", registrar)
    second = decided("Carcinus meanas", "Carcinus maenas", registrar)
    assert undo_last(by=registrar, now=SOON).check_of == second
    assert undo_last(by=registrar, now=SOON).check_of == first
    with pytest.raises(ReviewError, match="no decision of yours of the last 10 minutes"):
        undo_last(by=registrar, now=SOON)


def test_a_name_can_be_decided_undone_and_decided_otherwise(
    backbone: BackboneRelease, registrar: Person
) -> None:
    check = decided("dogfish", "Squalus acanthias", registrar)
    undo_last(by=registrar, now=SOON)
    review(check.pk, kind=DecisionKind.CHOOSE, name="Scyliorhinus stellaris", by=registrar, now=SOON)
    assert set(where().values()) == {"Scyliorhinus stellaris"}
    assert last_decision(registrar, now=SOON) == NameDecision.objects.latest("id")


def test_each_undoes_their_own_and_only_within_ten_minutes(
    backbone: BackboneRelease, registrar: Person
) -> None:
    decided("dogfish", "Squalus acanthias", registrar)
    for person, when in ((make_person(), SOON), (registrar, TOO_LATE)):
        with pytest.raises(ReviewError, match="opening the name again"):
            undo_last(by=person, now=when)
    assert last_decision(registrar, now=SOON) is not None


def test_a_decision_for_next_time_no_longer_holds_when_undone(
    backbone: BackboneRelease, registrar: Person
) -> None:
    check = queued("Carcinus meanas")
    review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=LATER)
    assert taxa_for(["Carcinus meanas"], now=LATER)["Carcinus meanas"].scientific_name == "Carcinus maenas"
    undo_last(by=registrar, now=SOON)
    assert taxa_for(["Carcinus meanas"], now=SOON)["Carcinus meanas"].scientific_name == "Carcinus meanas"
    assert NameCheck.objects.count() == 1


def _another_lot_comes(check: NameCheck, by: Person) -> None:
    make_lot("Z9", taxon=check.taxon)


def _it_is_renamed(check: NameCheck, by: Person) -> None:
    assert check.taxon is not None
    TaxonName.objects.create(taxon=check.taxon, scientific_name="Carcinus novus", since=SOON)


def _another_name_is_decided_so(check: NameCheck, by: Person) -> None:
    other = NameCheck.objects.create(typed="green crab", verdict="common_name", asked_at=NOW)
    review(other.pk, kind=DecisionKind.NEW_ACCEPTED_NAME, name="Carcinus maenas", why="seen",
           by=make_person(), now=SOON)  # fmt: skip


def _a_lot_goes_elsewhere(check: NameCheck, by: Person) -> None:
    Lot.objects.update(taxon=taxa_for(["Gadus morhua"], now=SOON)["Gadus morhua"])


def _the_old_name_comes_in_again(check: NameCheck, by: Person) -> None:
    Taxon.objects.create(scientific_name="Carcinus meanas")


@pytest.mark.parametrize(
    ("happens", "said"),
    [
        (_another_lot_comes, "lot Z9 came under Carcinus maenas since"),
        (_it_is_renamed, "its name was changed again since, to Carcinus novus"),
        (_another_name_is_decided_so, "“green crab” was decided to be Carcinus maenas too"),
        (_a_lot_goes_elsewhere, "stands elsewhere now"),
        (_the_old_name_comes_in_again, "other animals came in as “Carcinus meanas” since"),
    ],
)
def test_what_happened_since_is_named_and_nothing_changes(
    happens: object, said: str, backbone: BackboneRelease, registrar: Person
) -> None:
    assert callable(happens)
    check = decided("Carcinus meanas", "Carcinus maenas", registrar)
    happens(check, registrar)
    before, n_decisions = where(), NameDecision.objects.count()
    with pytest.raises(ReviewError, match=said):
        undo_last(by=registrar, now=SOON)
    check.refresh_from_db()
    assert (where(), NameDecision.objects.count(), check.state) == (before, n_decisions, CheckState.DECIDED)


def test_joined_lots_that_went_on_are_not_undone(backbone: BackboneRelease, registrar: Person) -> None:
    taxa_for(["Scyliorhinus canicula"], now=NOW)
    decided("dogfish", "Scyliorhinus canicula", registrar)
    Lot.objects.update(taxon=taxa_for(["Gadus morhua"], now=SOON)["Gadus morhua"])
    with pytest.raises(ReviewError, match="stands under another name now"):
        undo_last(by=registrar, now=SOON)


def test_a_decided_name_is_opened_again_with_a_reason_at_any_time(
    backbone: BackboneRelease, registrar: Person
) -> None:
    taxa_for(["Scyliorhinus canicula"], now=NOW)
    check = decided("dogfish", "Scyliorhinus canicula", registrar, lots=2)
    much_later = LATER + timedelta(days=400)
    with pytest.raises(ReviewError, match="Say why"):
        reopen(check.pk, by=registrar, now=much_later, why=" ")
    opened = reopen(check.pk, by=make_person(), now=much_later, why="the spots are those of the other")
    check.refresh_from_db()
    assert (check.state, opened.lots_touched) == (CheckState.TO_REVIEW, 2)
    assert set(where().values()) == {"dogfish"}
    assert (opened.kind, opened.why) == ("reopened", "the spots are those of the other")
    with pytest.raises(ReviewError, match="is open"):
        reopen(check.pk, by=registrar, now=much_later, why="again")


def test_opening_again_takes_only_the_lots_of_the_typed_name_from_a_taxon_that_others_joined(
    backbone: BackboneRelease, registrar: Person
) -> None:
    check = decided("Carcinus meanas", "Carcinus maenas", registrar, lots=2)
    assert check.taxon is not None
    Taxon.objects.update(count_class="B", unit="crab")
    make_lot("Z9", taxon=check.taxon)
    opened = reopen(check.pk, by=registrar, now=SOON, why="one had red eyes")
    assert opened.lots_touched == 2
    assert sorted(where().values()) == ["Carcinus maenas", "Carcinus meanas", "Carcinus meanas"]
    assert where()["Z9"] == "Carcinus maenas"
    apart = Taxon.objects.get(scientific_name="Carcinus meanas")
    assert (apart.count_class, apart.unit, apart.names.count()) == ("B", "crab", 1)
    # Decided anew, the lots go on from there.
    review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=SOON)
    assert set(where().values()) == {"Carcinus maenas"}


def test_a_name_kept_as_typed_is_opened_where_it_stands(backbone: BackboneRelease, registrar: Person) -> None:
    check = queued("Gadus xyzzus")
    review(check.pk, kind=DecisionKind.KEEP_AS_TYPED, why="new to science", by=registrar, now=LATER)
    make_lot("Z9", taxon=Taxon.objects.get())
    reopen(check.pk, by=registrar, now=SOON, why="it was a cod")
    check.refresh_from_db()
    assert (check.state, check.taxon) == (CheckState.TO_REVIEW, Taxon.objects.get())


def test_a_decision_is_taken_back_once(backbone: BackboneRelease, registrar: Person) -> None:
    decided("dogfish", "Squalus acanthias", registrar)
    undone = undo_last(by=registrar, now=SOON)
    with pytest.raises(IntegrityError), transaction.atomic():
        NameDecision.objects.create(
            check_of=undone.check_of, kind=DecisionKind.UNDONE, undoes=undone.undoes, taxon=undone.taxon,
            scientific_name="dogfish", decided_at=SOON, decided_by=registrar,
        )  # fmt: skip
