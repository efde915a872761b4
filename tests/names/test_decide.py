"""The matching policy, rule by rule, without a database."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.names.rules.match import Asked, match
from inventory.names.rules.verdicts import COLUMNS, Caution, Classification, Verdict, VerdictKind

from .stores import MemoryStore, usage


def one(typed: str, store: MemoryStore, **stated: str) -> Verdict:
    (verdict,) = match([Asked(typed, Classification(**stated))], store)
    return verdict


@pytest.mark.parametrize(
    ("typed", "kind", "name"),
    [
        ("Gadus morhua", "accepted", "Gadus morhua"),
        ("Gadus morhua Linnaeus, 1758", "accepted", "Gadus morhua"),
        ("GADUS MORHUA", "accepted", "Gadus morhua"),
        ("gadus morhua", "accepted", "Gadus morhua"),
        ("Gadus Morhua", "accepted", "Gadus morhua"),
        ("Sagartia elegans", "synonym", "Cylista elegans"),
        ("Gobiusculus flavescen", "misspelling", "Pomatoschistus flavescens"),
        ("Pomatoschistis minitus", "misspelling", ""),
        ("Gadus", "genus_only", "Gadus"),
        ("Gadus Linnaeus, 1758", "genus_only", "Gadus"),
        ("Henricea sp.", "misspelling", "Henricia"),
        ("Gobiusculus sp.", "genus_only", "Pomatoschistus"),
        ("Gadidae", "higher_rank", "Gadidae"),
        ("Gobiidae indet.", "higher_rank", "Gobiidae"),
        ("Gadus xyzzus", "higher_rank", ""),
        ("Gadus morhua callarias", "higher_rank", ""),
        ("Raja clavata x montagui", "hybrid", ""),
        ("Raja clavata/montagui", "ambiguous", ""),
        ("Actinia equina or fragacea", "ambiguous", ""),
        ("P. minutus", "ambiguous", ""),
        ("turbot", "common_name", "Scophthalmus maximus"),
        ("Turbot", "common_name", "Scophthalmus maximus"),
        ("octopus", "common_name", ""),
        ("Octopus", "genus_only", "Octopus"),
        ("Maja squinada", "misapplied", ""),
        ("Maja cf. squinado", "misapplied", ""),
        ("Urticina aff. felina", "qualified", "Urticina felina"),
        ("hairy triton", "not_found", ""),
        ("Nullius nusquam", "not_found", ""),
        ("", "not_found", ""),
        ("?", "not_found", ""),
    ],
)
def test_each_kind_of_line_has_its_verdict(typed: str, kind: str, name: str, memory: MemoryStore) -> None:
    verdict = one(typed, memory)
    assert (verdict.verdict.value, verdict.name) == (kind, name)
    assert verdict.why


def test_a_distance_of_two_shows_but_never_names(memory: MemoryStore) -> None:
    verdict = one("Pomatoschistis minitus", memory)
    assert (verdict.name, [choice.name for choice in verdict.choices]) == ("", ["Pomatoschistus minutus"])
    assert "distance 2 (genus 1, epithet 1)" in verdict.why


def test_homonyms_never_collapse() -> None:
    comb_jellies = usage("Ctenophora", rank="phylum", taxon_id="1", kingdom="Animalia", phylum="Ctenophora")
    diatom = usage("Ctenophora", "D.M.Williams", taxon_id="2", kingdom="Chromista", phylum="Ochrophyta")
    store = MemoryStore([comb_jellies, diatom])
    assert one("Ctenophora", store).verdict is VerdictKind.AMBIGUOUS
    assert one("Ctenophora", store).name == ""
    assert len(one("Ctenophora", store).choices) == 2
    # What stands beside the name decides, and so does the author.
    assert one("Ctenophora", store, kingdom="Animalia").verdict is VerdictKind.HIGHER_RANK
    assert one("Ctenophora D.M.Williams, 1986", store).verdict is VerdictKind.GENUS_ONLY


def test_a_stated_rank_tells_homonyms_apart() -> None:
    comb_jellies = usage("Ctenophora", rank="phylum", taxon_id="1", kingdom="Animalia")
    diatom = usage("Ctenophora", "D.M.Williams", taxon_id="2", kingdom="Chromista")
    (verdict,) = match([Asked("Ctenophora", rank="Phylum")], MemoryStore([comb_jellies, diatom]))
    assert (verdict.verdict, verdict.rank) == (VerdictKind.HIGHER_RANK, "phylum")
    # A rank that none has rules nothing out.
    (verdict,) = match([Asked("Ctenophora", rank="tribe")], MemoryStore([comb_jellies, diatom]))
    assert verdict.verdict is VerdictKind.AMBIGUOUS


@pytest.mark.parametrize(
    ("status", "why"),
    [
        ("proParteSynonym", "in part only"),
        ("pro parte synonym", "in part only"),
        ("misapplied", "holds the name for misapplied"),
    ],
)
def test_a_synonym_in_part_or_misapplied_is_never_taken_by_itself(status: str, why: str) -> None:
    accepted = usage("Doris nova")
    old = usage("Doris vetus", accepted=accepted, status=status)
    verdict = one("Doris vetus", MemoryStore([accepted, old]))
    assert (verdict.verdict, verdict.name, verdict.is_certain) == (VerdictKind.AMBIGUOUS, "", False)
    assert [choice.name for choice in verdict.choices] == ["Doris nova"]
    assert why in verdict.why


@pytest.mark.parametrize("status", ["unaccepted", "not accepted", "invalid", "misapplied"])
def test_a_name_that_does_not_stand_and_leads_nowhere_asks(status: str) -> None:
    verdict = one("Doris vetus", MemoryStore([usage("Doris vetus", status=status)]))
    assert (verdict.verdict, verdict.name) == (VerdictKind.AMBIGUOUS, "")
    assert one("Doris vetus", MemoryStore([usage("Doris vetus", status="doubtful")])).is_certain


def test_author_and_phylum_single_out_one_of_two_names_equally_near() -> None:
    store = MemoryStore(
        [
            usage("Doris alba", "Abel, 1801", phylum="Mollusca"),
            usage("Doris alta", "Bell, 1902", phylum="Annelida"),
        ]
    )
    assert one("Doris alka", store).name == ""
    assert one("Doris alka Abel, 1801", store).name == "Doris alba"
    assert one("Doris alka", store, phylum="Annelida").name == "Doris alta"
    # A misspelt name is suggested, never taken.
    assert not one("Doris alka Abel, 1801", store).is_certain


def test_homonyms_in_the_choices_bear_their_authors() -> None:
    first, second = usage("Doris alba", "Abel, 1801"), usage("Doris alba", "Bell, 1902")
    text = one("Doris alba", MemoryStore([first, second])).choices_text()
    assert text == "Doris alba Abel, 1801 | Doris alba Bell, 1902"


def test_synonyms_of_one_taxon_are_no_homonyms() -> None:
    accepted = usage("Doris nova", "Cook, 1850")
    rows = [accepted] + [
        usage("Doris vetus", author, accepted=accepted) for author in ("Abel, 1801", "Bell, 1902")
    ]
    assert one("Doris vetus", MemoryStore(rows)).verdict is VerdictKind.SYNONYM


def test_a_stated_phylum_that_disagrees_asks_a_person() -> None:
    snailfish = usage("Liparis liparis", phylum="Chordata", class_name="Teleostei")
    verdict = one("Liparis liparis", MemoryStore([snailfish]), phylum="Mollusca")
    assert (verdict.verdict, verdict.name) == (VerdictKind.AMBIGUOUS, "")
    assert "phylum Chordata, not Mollusca" in verdict.why


@pytest.mark.parametrize("stated", ["Actinopterygii", "Actinopteri", "teleostei", ""])
def test_classes_that_backbones_call_otherwise_do_not_disagree(stated: str) -> None:
    cod = usage("Gadus morhua", phylum="Chordata", class_name="Teleostei")
    assert one("Gadus morhua", MemoryStore([cod]), class_name=stated).verdict is VerdictKind.ACCEPTED


def test_two_names_equally_near_are_ambiguous() -> None:
    store = MemoryStore([usage("Doris alba"), usage("Doris alta")])
    verdict = one("Doris alka", store)
    assert (verdict.verdict, verdict.name, len(verdict.choices)) == (VerdictKind.AMBIGUOUS, "", 2)


def test_a_caution_holds_for_a_synonym_of_the_name_too() -> None:
    south, north = usage("Maja squinado"), usage("Maja brachydactyla")
    old = usage("Cancer squinado", accepted=south)
    caution = Caution("Maja squinado", "Maja brachydactyla", "north-east Atlantic", "long misapplied", "")
    verdict = one("Cancer squinado", MemoryStore([south, north, old], cautions=[caution]))
    assert verdict.verdict is VerdictKind.MISAPPLIED
    assert [choice.name for choice in verdict.choices] == ["Maja brachydactyla", "Maja squinado"]


def test_another_author_is_said_but_does_not_refuse(memory: MemoryStore) -> None:
    verdict = one("Adamsia palliata (Fabricius, 1779)", memory)
    assert verdict.verdict is VerdictKind.ACCEPTED
    assert 'author typed "(Fabricius, 1779)"' in verdict.why


@pytest.mark.parametrize(
    ("typed", "certain"),
    [("Henricia sp.", True), ("Henricia", True), ("Henricia sp. A", False), ("Urticina cf. felina", False)],
)
def test_only_a_plain_open_genus_is_certain(typed: str, certain: bool, memory: MemoryStore) -> None:
    assert one(typed, memory).is_certain is certain


WORDS = st.sampled_from(
    ["Gadus", "morhua", "cf.", "sp.", "x", "\u00d7", "Maja", "squinado", "dogfish", "/", "or", "?", "juv.",
     "Linnaeus,", "1758", "(Linnaeus)", "Henricia", "Scyliorhinus", "caniculus", "indet.", "s.l.", '"', "\t"]
)  # fmt: skip
LINES = st.one_of(
    st.text(max_size=80), st.text(st.characters(), max_size=80), st.lists(WORDS, max_size=6).map(" ".join)
)


@given(lines=st.lists(LINES, max_size=8))
def test_any_lines_get_one_verdict_each_in_order(lines: list[str], memory: MemoryStore) -> None:
    verdicts = match([Asked(line) for line in lines], memory)
    assert [verdict.typed for verdict in verdicts] == lines
    for verdict in verdicts:
        assert set(verdict.as_row()) == set(COLUMNS)
        assert verdict.why
        if verdict.verdict in (VerdictKind.MISAPPLIED, VerdictKind.AMBIGUOUS, VerdictKind.HYBRID):
            assert verdict.name == ""


@given(lines=st.lists(LINES, max_size=6))
def test_a_verdict_does_not_depend_on_its_neighbours(lines: list[str], memory: MemoryStore) -> None:
    together = match([Asked(line) for line in lines], memory)
    alone = [match([Asked(line)], memory)[0] for line in lines]
    assert together == alone
