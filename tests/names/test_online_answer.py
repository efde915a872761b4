"""What an online answer is taken for. No confidence, only an exact match and our own rules, accepts."""

import json
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.names.rules.answer import UnreadableAnswer, as_json, read_answer
from inventory.names.rules.opinion import opinion
from inventory.names.rules.question import question_for
from inventory.names.rules.verdicts import Caution, Classification, Verdict, VerdictKind

from . import online_answers as written
from .online_answers import answer, usage

GBIF = "GBIF under test"
COD = "Gadus morhua"


def judged(typed: str, data: Any, **stated: Any) -> Verdict:
    """The verdict, also after the answer went through the cache."""
    read = read_answer(data)
    kept = read_answer(json.loads(json.dumps(as_json(read))))
    assert kept == read
    return opinion(typed, read, **{"cautions": {}, "release": GBIF, **stated})


@pytest.mark.parametrize(
    ("typed", "data", "kind", "name"),
    [
        (COD, written.ACCEPTED, "accepted", COD),
        ("Gobiusculus flavescens", written.SYNONYM, "synonym", "Pomatoschistus flavescens"),
        ("Gobiusculus flavescens", written.V1_SYNONYM, "synonym", "Pomatoschistus flavescens"),
        ("Gadus morrhua", written.MISSPELT, "misspelling", COD),
        ("Gadus morrhua", written.V1_FUZZY, "misspelling", COD),
        ("Gadus nusquam", written.HIGHER, "higher_rank", ""),
        ("Nullius nusquam", written.NONE, "not_found", ""),
        ("Dasyatis nulla", written.HOMONYMS, "ambiguous", ""),
        ("Dasyatis nulla", written.AMBIGUOUS, "ambiguous", ""),
    ],
)
def test_each_kind_of_match_has_its_verdict(typed: str, data: Any, kind: str, name: str) -> None:
    verdict = judged(typed, data)
    assert (verdict.verdict.value, verdict.name, verdict.release) == (kind, name, GBIF)
    assert "the service says" in verdict.why


def test_a_name_of_none_however_confident_is_not_found() -> None:
    assert judged(COD, answer("NONE", usage(COD), confidence=100)).verdict is VerdictKind.NOT_FOUND


def test_homonyms_are_offered_and_none_is_taken() -> None:
    verdict = judged("Dasyatis nulla", written.HOMONYMS)
    assert [choice.authorship for choice in verdict.choices] == ["Aal, 1901", "Bet, 1902"]


def test_an_exact_name_with_a_homonym_beside_it_asks() -> None:
    other = answer("EXACT", usage(COD, "Fab, 1999", key="other"))
    data = answer("EXACT", usage(COD, "Linnaeus, 1758"), alternatives=[other])
    assert judged(COD, data).verdict is VerdictKind.AMBIGUOUS
    assert judged(f"{COD} Linnaeus, 1758", data).name == COD


def test_an_exact_match_of_another_kingdom_asks() -> None:
    plants = [{"name": "Plantae", "rank": "KINGDOM"}]
    data = answer("EXACT", usage(COD), classification=plants)
    verdict = judged(COD, data, stated=Classification(kingdom="Animalia"))
    assert (verdict.verdict, "kingdom Plantae, not Animalia" in verdict.why) == (VerdictKind.AMBIGUOUS, True)


def test_an_exact_match_of_another_name_is_never_taken() -> None:
    verdict = judged(COD, answer("EXACT", usage("Aves", rank="CLASS")))
    assert (verdict.verdict, verdict.name) == (VerdictKind.AMBIGUOUS, "")


def test_a_variant_far_off_is_shown_and_not_suggested() -> None:
    verdict = judged(COD, answer("VARIANT", usage("Gadella maraldi")))
    assert (verdict.verdict, verdict.name) == (VerdictKind.MISSPELLING, "")
    assert verdict.choices_text() == "Gadella maraldi"


def test_a_variant_of_the_very_letters_is_not_accepted() -> None:
    verdict = judged(COD, answer("VARIANT", usage(COD)))
    assert (verdict.verdict, verdict.name) == (VerdictKind.MISSPELLING, "")


@pytest.mark.parametrize(
    "found",
    [
        usage(COD, status=""),
        usage(COD, status="SYNONYM"),
        usage(COD, status="MISAPPLIED"),
        usage(COD, status="PROPARTE_SYNONYM"),
        usage(COD, status="A NEW WORD"),
        {"name": "Gadus morhua Linnaeus, 1758"},
    ],
)
def test_a_name_whose_standing_is_not_clear_is_not_accepted(found: Any) -> None:
    verdict = judged(COD, answer("EXACT", found))
    assert (verdict.verdict, verdict.name) == (VerdictKind.AMBIGUOUS, "")


def test_an_answer_that_contradicts_itself_is_not_accepted() -> None:
    assert judged(COD, {**written.ACCEPTED, "synonym": True}).verdict is VerdictKind.AMBIGUOUS
    accepted = {**written.ACCEPTED, "acceptedUsage": usage("Gadus ogac")}
    assert judged(COD, accepted).verdict is VerdictKind.AMBIGUOUS


def test_a_caution_of_the_house_weighs_as_much_as_with_a_local_release() -> None:
    """ "Maja squinado" from this sea is never a plain accepted, whoever says so."""
    caution = Caution("Maja squinado", "Maja brachydactyla", "north-east Atlantic", "split", "a source")
    data = answer("EXACT", usage("Maja squinado", "(Herbst, 1788)"))
    verdict = judged("Maja squinado", data, cautions={"Maja squinado": caution})
    assert (verdict.verdict, verdict.name) == (VerdictKind.MISAPPLIED, "")


def test_a_genus_with_sp_stays_at_genus() -> None:
    verdict = judged("Henricia sp.", answer("EXACT", usage("Henricia", "Gray, 1840", rank="GENUS")))
    assert (verdict.verdict, verdict.rank, verdict.qualifier) == (VerdictKind.GENUS_ONLY, "genus", "sp.")


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (None, "found nothing"),
        ([written.ACCEPTED], "found a list"),
        ("<html>", "found a text"),
        ({}, "no matchType"),
        ({**written.ACCEPTED, "diagnostics": {"matchType": "PERFECT"}}, "found “PERFECT”"),
        ({**written.ACCEPTED, "diagnostics": {"matchType": 7}}, "no matchType"),
        ({"diagnostics": {"matchType": "EXACT"}}, "names no name"),
        ({"diagnostics": {"matchType": "EXACT"}, "usage": [COD]}, "names no name"),
    ],
)
def test_what_is_no_answer_says_what_was_expected(data: Any, what: str) -> None:
    with pytest.raises(UnreadableAnswer, match=what):
        read_answer(data)


def test_keys_that_are_missing_or_odd_are_left_blank() -> None:
    data = {**written.ACCEPTED, "classification": [None, {"rank": 5}, {"name": "Animalia"}]}
    assert judged(COD, data).name == COD
    data["diagnostics"] = {**data["diagnostics"], "alternatives": ["x", {}, {"usage": 3}], "note": ["x"]}
    assert judged(COD, data).name == COD


def test_what_a_database_cannot_keep_is_not_kept() -> None:
    read = read_answer(answer("EXACT", usage(COD, "A\x00\ud800"), note="\x00"))
    kept = json.dumps(as_json(read), ensure_ascii=False)
    assert "\x00" not in kept
    assert kept.encode()


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["usage", "acceptedUsage", "classification", "diagnostics", "matchType", "name",
                         "canonicalName", "rank", "status", "synonym", "alternatives", "key", "note"])
        | st.text(max_size=3), inner, max_size=6),
    max_leaves=25,
)  # fmt: skip


@given(JSON)
def test_whatever_comes_back_is_read_or_refused(data: Any) -> None:
    """Any other exception than UnreadableAnswer fails this test."""
    with suppress(UnreadableAnswer):
        assert not judged(COD, data).is_certain or "EXACT" in json.dumps(data)


NAMES = st.sampled_from([COD, "Gadus morrhua", "Gadus", "Aves", ""])
USAGES = st.builds(
    usage, NAMES, st.sampled_from(["", "Linnaeus, 1758", "Fab, 1999"]),
    rank=st.sampled_from(["SPECIES", "GENUS", ""]),
    status=st.sampled_from(["ACCEPTED", "SYNONYM", "DOUBTFUL", "", "?"]),
)  # fmt: skip
ANSWERS = st.builds(
    answer, st.sampled_from(["EXACT", "VARIANT", "FUZZY", "HIGHERRANK", "AMBIGUOUS", "NONE"]),
    USAGES, accepted=st.none() | USAGES, confidence=st.integers(0, 200),
    alternatives=st.lists(st.builds(answer, st.sampled_from(["EXACT", "VARIANT"]), USAGES), max_size=2),
)  # fmt: skip


@given(NAMES, ANSWERS)
def test_nothing_but_an_exact_match_of_the_letters_is_certain(typed: str, data: Any) -> None:
    try:
        verdict = judged(typed, data)
    except UnreadableAnswer:
        return
    if verdict.is_certain:
        assert data["diagnostics"]["matchType"] == "EXACT"
        assert data["usage"]["canonicalName"] == typed
        assert verdict.name == (data.get("acceptedUsage") or data["usage"])["canonicalName"]


@pytest.mark.parametrize(
    "typed", ["", "Gadus morhua x Gadus ogac", "Raja clavata/montagui", "G. morhua", "1234"]
)
def test_what_is_not_one_scientific_name_is_not_asked(typed: str) -> None:
    assert question_for(typed, checklist="c") is None


def test_the_question_says_kingdom_and_rank_so_that_homonyms_do_not_collapse() -> None:
    asked = question_for("  gadus  cf.  morhua juv.", checklist="c")
    assert asked is not None
    assert (asked.name, asked.rank, asked.classification.kingdom) == (COD, "SPECIES", "Animalia")
    metazoa = question_for(COD, checklist="c", classification=Classification(kingdom="Metazoa"))
    assert metazoa is not None
    assert (metazoa.classification.kingdom, metazoa.key) == ("Animalia", asked.key)


def test_another_checklist_or_classification_is_another_question() -> None:
    stated = [Classification(), Classification(phylum="Chordata"), Classification(order="Chordata")]
    keys = {
        asked.key
        for known in stated
        for checklist in ("a", "b")
        if (asked := question_for(COD, checklist=checklist, classification=known))
    }
    assert len(keys) == 6
