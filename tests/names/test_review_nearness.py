"""Common names: ranked by how near the animals are, with phylum and language, and never decided.

That the animals of the tank go first is common practice, no source.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.names.actions.backbone import load_release
from inventory.names.actions.review import check_many
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease, NameCheck, RangeCaution
from inventory.names.queries.nearness import has_been_used, language_in_words, nearby
from inventory.names.queries.verdicts import verdicts_for
from inventory.names.rules.lineage import Branch, Level, levels
from inventory.names.rules.match import Asked
from inventory.names.rules.nearness import Nearby, Nearness, rank, ranked
from inventory.names.rules.verdicts import UNSTATED, Choice, Classification, Verdict, VerdictKind
from tests.factories import NOW, make_event, make_lot, make_place

names = st.sampled_from(["Aa", "Bb", "Cc", "Dd", "Ee"])
sets = st.frozensets(names)


def called(*found: str, kind: VerdictKind = VerdictKind.COMMON_NAME) -> Verdict:
    return Verdict("dogfish", kind, "", choices=tuple(Choice(name) for name in found))


@given(found=st.lists(names, unique=True), tank=sets, house=sets, region=sets)
def test_the_nearest_come_first_and_none_is_lost_or_decided(
    found: list[str], tank: frozenset[str], house: frozenset[str], region: frozenset[str]
) -> None:
    near = Nearby(tank, house, region)
    verdict = ranked(called(*found), near, {})
    order = [choice.name for choice in verdict.choices]
    assert sorted(order) == sorted(found)
    assert [near.of(name) for name in order] == sorted(near.of(name) for name in found)
    assert (verdict.name, verdict.is_certain) == ("", False)


@given(found=st.lists(names, unique=True))
def test_what_is_equally_near_stays_in_order(found: list[str]) -> None:
    choices = [Choice(name) for name in found]
    assert rank(choices, Nearby()) == choices


def test_a_misapplied_name_keeps_the_order_of_its_caution() -> None:
    verdict = called("Maja brachydactyla", "Maja squinado", kind=VerdictKind.MISAPPLIED)
    held = Nearby(tank={"Maja squinado"}, house={"Maja squinado"})
    assert [c.name for c in ranked(verdict, held, {}).choices] == ["Maja brachydactyla", "Maja squinado"]


def test_a_choice_says_how_near_it_is_and_in_which_language_it_is_called_so() -> None:
    verdict = ranked(called("Aa", "Bb"), Nearby(house={"Bb"}), {("Bb", ""): "Danish"})
    assert [c.note for c in verdict.choices] == ["held in the house, so called in Danish", ""]


@pytest.mark.django_db
def test_tank_then_house_then_what_was_ever_held_then_anywhere(backbone: BackboneRelease) -> None:
    def held(name: str, place: str, *, gone: bool = False) -> None:
        lot = make_lot(taxon=taxa_for([name], now=NOW)[name])
        make_event(lot=lot, place=places[place], unknown=1)
        if gone:
            make_event("died", lot=lot, place=places[place], unknown=1, happened="2026-09-02")

    hall = make_place("E02")
    places = {"E02": hall, "E02a": make_place("E02a", parent=hall), "Q1": make_place("Q1")}
    held("Squalus acanthias", "E02a")
    held("Scyliorhinus stellaris", "Q1", gone=True)
    wanted = ["Squalus acanthias", "Scyliorhinus stellaris", "Scyliorhinus canicula"]
    near = nearby(wanted, places=["E02"])
    assert [near.of(name) for name in wanted] == [Nearness.TANK, Nearness.REGION, Nearness.ANYWHERE]
    assert nearby(wanted, places=["Q1"]).of("Squalus acanthias") == Nearness.HOUSE
    assert [has_been_used(code) for code in ("E02", "Q1", "E99")] == [True, True, False]
    _, (verdict,) = verdicts_for([Asked("dogfish")], places=["E02"])
    assert [(choice.name, choice.note) for choice in verdict.choices] == [
        ("Squalus acanthias", "held in this tank, so called in English"),
        ("Scyliorhinus stellaris", "known from this region, so called in English"),
        ("Scyliorhinus canicula", "so called in English"),
    ]


@pytest.mark.django_db
def test_a_caution_says_which_name_is_of_the_region(backbone: BackboneRelease) -> None:
    near = nearby(["Maja squinado", "Maja brachydactyla"])
    assert near.of("Maja brachydactyla") == Nearness.REGION
    assert near.of("Maja squinado") == Nearness.ANYWHERE
    assert RangeCaution.objects.get().right_name == "Maja brachydactyla"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("typed", "phyla"), [("dogfish", {"Chordata"}), ("sea snail", {"Chordata", "Mollusca"})]
)
def test_a_name_of_several_animals_asks_and_shows_the_phyla(
    typed: str, phyla: set[str], backbone: BackboneRelease
) -> None:
    make_event(lot=make_lot(taxon=taxa_for(["Liparis liparis"], now=NOW)["Liparis liparis"]))
    make_event(lot=make_lot(taxon=taxa_for(["Squalus acanthias"], now=NOW)["Squalus acanthias"]))
    (verdict,) = check_many([typed], now=NOW)
    assert (verdict.name, verdict.verdict) == ("", VerdictKind.COMMON_NAME)
    assert {choice.phylum for choice in verdict.choices} == phyla
    stored = NameCheck.objects.get(typed=typed)
    assert [row["name"] for row in stored.choices] == [choice.name for choice in verdict.choices]
    assert stored.choices[0]["note"].startswith("held in the house")


@pytest.mark.django_db
def test_one_word_in_two_languages_says_which(tmp_path: object) -> None:
    """A made-up archive: the word is Danish for one animal and English for another."""
    from pathlib import Path

    folder = Path(str(tmp_path)) / "archive"
    folder.mkdir()
    folder.joinpath("meta.xml").write_text(
        '<archive xmlns="http://rs.tdwg.org/dwc/text/">'
        '<core rowType="http://rs.tdwg.org/dwc/terms/Taxon" fieldsTerminatedBy="," ignoreHeaderLines="0">'
        "<files><location>taxon.csv</location></files>"
        '<id index="0"/><field index="1" term="http://rs.tdwg.org/dwc/terms/scientificName"/>'
        '<field index="2" term="http://rs.tdwg.org/dwc/terms/taxonRank"/></core>'
        '<extension rowType="http://rs.gbif.org/terms/1.0/VernacularName" fieldsTerminatedBy=",">'
        "<files><location>vernacular.csv</location></files>"
        '<coreid index="0"/><field index="1" term="http://rs.tdwg.org/dwc/terms/vernacularName"/>'
        '<field index="2" term="http://purl.org/dc/terms/language"/></extension></archive>',
        encoding="utf-8",
    )
    folder.joinpath("taxon.csv").write_text("1,Aus bus,species\n2,Cus dus,species\n", encoding="utf-8")
    folder.joinpath("vernacular.csv").write_text("1,sild,da\n2,sild,eng\n2,Sild,en\n", encoding="utf-8")
    load_release(folder, now=NOW)
    _, (verdict,) = verdicts_for([Asked("sild")])
    assert [(choice.name, choice.note) for choice in verdict.choices] == [
        ("Aus bus", "so called in Danish"),
        ("Cus dus", "so called in English"),
    ]


@pytest.mark.parametrize(
    ("code", "words"),
    [("en", "English"), ("ENG", "English"), ("de", "German"), ("ger", "German"),
     ("pt-BR", "Brazilian Portuguese"), ("fo", "Faroese"), ("tlh", "tlh"), ("", "")],
)  # fmt: skip
def test_languages_are_named_in_words(code: str, words: str) -> None:
    """Names of languages: Django's own table (two letters); three letters from memory."""
    assert language_in_words(code) == words


def side_by_side(*found: Classification, rank: str = "species") -> list[Level]:
    return levels([(Choice(f"Aus b{n}", rank=rank), known) for n, known in enumerate(found)])


def test_choices_part_where_they_differ_first() -> None:
    fish = Classification("Animalia", "Chordata", "Teleostei", genus="Liparis")
    snail = Classification("Animalia", "Mollusca", "Gastropoda")
    assert side_by_side(fish, fish, snail) == [
        Level("kingdom", (Branch("Animalia", 3),)),
        Level("phylum", (Branch("Chordata", 2), Branch("Mollusca", 1)), parts=True),
        Level("class", (Branch("Teleostei", 2), Branch("Gastropoda", 1))),
        Level("genus", (Branch("Liparis", 2), Branch("", 1))),
        Level("species", (Branch("Aus b0", 1), Branch("Aus b1", 1), Branch("Aus b2", 1))),
    ]


def test_two_of_one_genus_part_at_the_species() -> None:
    maja = Classification("Animalia", "Arthropoda", genus="Maja")
    assert [level.rank for level in side_by_side(maja, maja) if level.parts] == ["species"]
    assert side_by_side(maja, maja, rank="genus")[-1].rank == "name"


def test_equal_names_under_different_ones_are_not_joined() -> None:
    """One genus name in two kingdoms is two genera."""
    animal, plant = Classification("Animalia", genus="Prunella"), Classification("Plantae", genus="Prunella")
    assert [len(level.branches) for level in side_by_side(animal, plant)] == [2, 2, 2]


def test_nothing_stated_is_no_picture() -> None:
    assert side_by_side(UNSTATED, UNSTATED) == side_by_side() == []


@given(st.lists(st.builds(Classification, names, names, names, st.just(""), names, names), max_size=6))
def test_each_level_spans_all_choices_and_they_part_once(found: list[Classification]) -> None:
    shown = side_by_side(*found)
    for level in shown:
        assert sum(branch.span for branch in level.branches) == len(found)
    assert sum(level.parts for level in shown) == (len(found) > 1)
