"""Under which names and groups a list speaks of a taxon: plain values, no database."""

from hypothesis import given
from hypothesis import strategies as st

from inventory.names.rules.lists import How, Key, ListedRank, Subject, keys, meant, plain_name, subject
from inventory.names.rules.verdicts import Classification, Usage

OYSTER = Classification("Animalia", "Mollusca", "Bivalvia", "Ostreida", "Ostreidae", "Magallana")
CORAL = Classification("Animalia", "Cnidaria", "Anthozoa", "Scleractinia", "Caryophylliidae", "Caryophyllia")


def usage(
    name: str,
    *,
    status: str = "accepted",
    of: Usage | None = None,
    number: str = "",
    classification: Classification = OYSTER,
) -> Usage:
    return Usage(number or name, name, "", "species", status, classification, accepted=of)


GIGAS = usage("Magallana gigas")


def reached(one: Subject, rank: ListedRank, name: str) -> How | None:
    reason = keys(one).get(Key(rank, name))
    return reason.how if reason else None


def test_a_species_is_reached_by_its_name_and_by_its_older_names() -> None:
    old = usage("Crassostrea gigas", status="homotypicSynonym", of=GIGAS)
    one = subject("Magallana gigas", "species", OYSTER, [GIGAS, old])
    assert reached(one, ListedRank.SPECIES, "Magallana gigas") is How.NAMED
    assert reached(one, ListedRank.SPECIES, "Crassostrea gigas") is How.SYNONYM
    assert keys(one)[Key(ListedRank.SPECIES, "Crassostrea gigas")].words == "under the name Crassostrea gigas"


def test_an_old_name_of_the_house_is_reached_by_the_accepted_one() -> None:
    old = usage("Crassostrea gigas", status="synonym", of=GIGAS)
    one = subject("Crassostrea gigas", "species", OYSTER, [GIGAS, old])
    assert reached(one, ListedRank.SPECIES, "Crassostrea gigas") is How.NAMED
    assert reached(one, ListedRank.SPECIES, "Magallana gigas") is How.SYNONYM


def test_the_genus_of_an_older_name_does_not_count() -> None:
    """Linnaeus put half of the crabs into Cancer: all of that genus today are not all of it then."""
    old = usage("Crassostrea gigas", status="synonym", of=GIGAS)
    one = subject("Magallana gigas", "species", OYSTER, [GIGAS, old])
    assert reached(one, ListedRank.GENUS, "Crassostrea") is None


def test_a_species_is_reached_by_every_group_above_it() -> None:
    one = subject("Caryophyllia smithii", "species", CORAL, [])
    groups = {
        ListedRank.GENUS: "Caryophyllia",
        ListedRank.FAMILY: "Caryophylliidae",
        ListedRank.ORDER: "Scleractinia",
        ListedRank.CLASS: "Anthozoa",
        ListedRank.PHYLUM: "Cnidaria",
        ListedRank.KINGDOM: "Animalia",
    }
    for rank, name in groups.items():
        assert reached(one, rank, name) is How.PART_OF
    assert reached(one, ListedRank.FAMILY, "Scleractinia") is None
    assert [key.rank for key, reason in keys(one).items() if reason.is_general] == [ListedRank.KINGDOM]


def test_a_name_that_no_backbone_knows_still_begins_with_its_genus() -> None:
    one = subject("Hippocampus guttulatus", "", Classification(), [])
    assert reached(one, ListedRank.GENUS, "Hippocampus") is How.PART_OF
    assert reached(one, ListedRank.KINGDOM, "Animalia") is How.PART_OF


def test_a_house_without_a_classification_takes_that_of_the_backbone() -> None:
    one = subject("Magallana gigas", "species", Classification(), [GIGAS])
    assert reached(one, ListedRank.FAMILY, "Ostreidae") is How.PART_OF


def test_animals_identified_to_the_genus_may_be_any_listed_species_of_it() -> None:
    for name, rank in (("Hippocampus", "genus"), ("Hippocampus sp.", "")):
        one = subject(name, rank, Classification(genus="Hippocampus"), [])
        reason = keys(one)[Key(ListedRank.SPECIES, "Hippocampus", within=True)]
        assert reason.how is How.POSSIBLE
        assert reason.words.startswith("perhaps")
    species = subject("Hippocampus guttulatus", "species", Classification(genus="Hippocampus"), [])
    assert not any(key.within for key in keys(species))


def test_a_subspecies_is_part_of_its_species() -> None:
    one = subject("Salmo trutta fario", "subspecies", Classification(genus="Salmo"), [])
    assert reached(one, ListedRank.SPECIES, "Salmo trutta fario") is How.NAMED
    assert reached(one, ListedRank.SPECIES, "Salmo trutta") is How.PART_OF


def test_a_name_used_wrongly_reaches_nothing() -> None:
    wrong = usage("Maja squinado", status="misapplied", of=GIGAS)
    one = subject("Magallana gigas", "species", OYSTER, [GIGAS, wrong])
    assert reached(one, ListedRank.SPECIES, "Maja squinado") is None


def test_doubt_in_a_name_does_not_hide_it_from_the_lists() -> None:
    assert plain_name("Urticina cf. felina") == "Urticina felina"
    assert plain_name("Caryophyllia (Caryophyllia) smithii Stokes & Broderip, 1828") == "Caryophyllia smithii"


def test_homonyms_are_told_apart_by_where_they_stand() -> None:
    moth = Classification("Animalia", "Arthropoda", "Insecta", "Lepidoptera", "Noctuidae", "Magallana")
    other = usage("Magallana gigas", number="2", classification=moth)
    assert meant([GIGAS, other], OYSTER) == GIGAS
    assert meant([GIGAS, other], moth) == other
    assert meant([GIGAS, other], Classification()) is None
    assert meant([GIGAS], Classification()) == GIGAS
    assert meant([], OYSTER) is None


NAMES = st.sampled_from(["", "Ostreidae", "Mollusca", "Magallana", "Animalia"])


@given(
    st.builds(Classification, NAMES, NAMES, NAMES, NAMES, NAMES, NAMES), st.sampled_from(["X y", "Magallana"])
)
def test_no_blank_group_is_ever_looked_up(stated: Classification, name: str) -> None:
    """A blank would reach every entry whose name is blank, or every taxon that nobody has placed."""
    assert all(key.name and reason.words for key, reason in keys(subject(name, "", stated, [])).items())
