"""Near names are all found: against brute force over every name, and the proof's steps one by one."""

import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from rapidfuzz.distance import OSA

from inventory.names.rules.deletions import deletion_keys, is_word, keys_two_edits
from inventory.names.rules.distance import LIMIT, epithet_distance, gender_forms, genus_distance
from inventory.names.rules.parse import Reading
from inventory.names.store.near import nearest
from inventory.names.store.read import ReleaseNames

from .sources import in_memory, names, store_file

# Few letters and few stems, so that names lie close together and ties are common.
WORD = st.text("abco", min_size=3, max_size=9)
LONG = st.builds(lambda start, end: start + end, st.sampled_from(["pseudotric", "scyliorhino"]), WORD)
GENUS = (WORD | LONG).map(str.capitalize)
EPITHET = (
    WORD
    | LONG
    | st.builds(lambda stem, end: stem + end, WORD, st.sampled_from(["us", "a", "um", "is", "e", "er", "ra"]))
)
NAME = st.tuples(GENUS) | st.tuples(GENUS, EPITHET) | st.tuples(GENUS, EPITHET, EPITHET)
EDITS = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 40), st.sampled_from("abcz")), max_size=4)


def spoilt(name: tuple[str, ...], edits: list[tuple[int, int, str]]) -> tuple[str, ...]:
    """The name with some slips, each within one of its words."""
    words = list(name)
    for kind, place, letter in edits:
        at = place % len(words)
        word, where = words[at].lower(), (place // len(words)) % len(words[at])
        if kind == 0 and len(word) > 2:
            word = word[:where] + word[where + 1 :]
        elif kind == 1:
            word = word[:where] + letter + word[where:]
        elif kind == 2:
            word = word[:where] + letter + word[where + 1 :]
        elif where + 1 < len(word):
            word = word[:where] + word[where + 1] + word[where] + word[where + 2 :]
        words[at] = word.capitalize() if at == 0 else word
    return tuple(words)


def answers(store: ReleaseNames, reading: Reading) -> set[tuple[str, tuple[int, ...]]]:
    return {(one.usage.canonical_name, one.distances) for one in store.near([reading]).get(reading, [])}


@settings(max_examples=150)
@given(known=st.lists(NAME, min_size=1, max_size=25), at=st.integers(0, 24), edits=EDITS, other=NAME)
@example(known=[("Pseudotricabc",)], at=0, edits=[(3, 1, "a"), (3, 5, "a")], other=("Abc",))
@example(known=[("Scyliorhinoabcabc",)], at=0, edits=[(3, 1, "a"), (3, 5, "a"), (3, 9, "a")], other=("Abc",))
@example(known=[("Pseudotric",)], at=0, edits=[(0, 1, "a"), (0, 3, "a")], other=("Abc",))
@example(known=[("Pseudotricabcab",)], at=0, edits=[(0, 1, "a"), (0, 3, "a"), (0, 6, "a")], other=("Abc",))
@example(known=[("Scyliorhinoabc", "canicula")], at=0, edits=[(2, 0, "z"), (2, 8, "z")], other=("Abc",))
def test_the_nearest_names_are_those_that_brute_force_finds(
    known: list[tuple[str, ...]], at: int, edits: list[tuple[int, int, str]], other: tuple[str, ...]
) -> None:
    """The oracle measures every name by the two-part rule; the store looks only where the proof says."""
    records = names(*dict.fromkeys(" ".join(name) for name in known))
    memory = in_memory(records)
    folder = Path(tempfile.mkdtemp())
    try:
        store = store_file(folder, records)
        typed = spoilt(known[at % len(known)], edits)
        for words in (typed, other, known[0]):
            reading = Reading(*words)
            expected = {
                (one.usage.canonical_name, one.distances) for one in memory.near([reading]).get(reading, [])
            }
            assert answers(store, reading) == expected
    finally:
        shutil.rmtree(folder)


ANY = st.text("abcdeé-", min_size=1, max_size=12)


@given(word=ANY, edits=EDITS)
def test_words_within_one_edit_share_a_number(word: str, edits: list[tuple[int, int, str]]) -> None:
    (other,) = spoilt((word,), edits[:1])
    if OSA.distance(word, other.lower()) <= 1:
        assert deletion_keys(word) & deletion_keys(other)


@given(word=st.text("abcde-", min_size=1, max_size=14), edits=EDITS)
def test_words_within_two_edits_share_a_number_with_one_edit_made(
    word: str, edits: list[tuple[int, int, str]]
) -> None:
    (other,) = spoilt((word,), edits[:2])
    if OSA.distance(word, other.lower()) <= 2:
        assert keys_two_edits(word) & deletion_keys(other)
        if len(other) > len(word):
            assert keys_two_edits(word, longer=True) & deletion_keys(other)


@given(typed=st.tuples(GENUS, EPITHET), known=st.tuples(GENUS, EPITHET))
def test_within_three_edits_one_of_the_two_words_is_within_one(
    typed: tuple[str, str], known: tuple[str, str]
) -> None:
    """The argument itself, as store/near.py states it."""
    genus, epithet = genus_distance(typed[0], known[0]), epithet_distance(typed[1], known[1])
    if genus is None or epithet is None or genus + epithet > LIMIT:
        return
    near_genus = OSA.distance(typed[0].lower(), known[0].lower()) <= 1
    near_epithet = OSA.distance(typed[1], known[1]) <= 1 or known[1] in gender_forms(typed[1])
    assert near_genus or near_epithet


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("Scyliorhinus canicula", {"Scyliorhinus canicula": 0}),
        ("Zcyliorhinus canicula", {"Scyliorhinus canicula": 1}),
        ("Scyliorhinus caniculus", {"Scyliorhinus canicula": 1}),
        ("Scylliorhinnus canicula", {"Scyliorhinus canicula": 2}),
        ("Scyliorhinus vaniclua", {"Scyliorhinus canicula": 2}),
        ("Sycliorhinnus vanicula", {"Scyliorhinus canicula": 3}),
        ("Sycliorhinnus vaniclua", {}),
        ("Zea mayz", {"Zea mays": 1}),
        ("Zeo myas", {"Zea mays": 2}),
        ("Scyliorhinidea", {"Scyliorhinidae": 1}),
        ("Sciliorhinidea", {"Scyliorhinidae": 2}),
        ("Scyliorhinus canicula majro", {"Scyliorhinus canicula major": 1}),
        ("Scyliorhinus vanicula major", {"Scyliorhinus canicula major": 1}),
        ("S. canicula", {"Scyliorhinus canicula": 0, "Squalus canicula": 0}),
        ("Sq. canicula", {"Squalus canicula": 0}),
        ("Squalus caniculi", {"Squalus canicula": 1}),
        ("BOLD:AAA1233", {}),
    ],
)
def test_what_is_near_and_how_far(typed: str, found: dict[str, int], tmp_path: Path) -> None:
    store = store_file(
        tmp_path,
        names(
            "Scyliorhinus canicula", "Scyliorhinus canicula major", "Scyliorhinidae", "Squalus canicula",
            "Zea mays", "BOLD:AAA1234",
        ),
    )  # fmt: skip
    reading = Reading(*typed.split(" "))
    near = store.near([reading]).get(reading, [])
    assert {one.usage.canonical_name: one.total for one in near} == found


def test_codes_are_no_words_that_anybody_misspells() -> None:
    assert [is_word(word) for word in ("Gadus", "sancti-petri", "Ångström", "BOLD:AAA1", "sp1", "-", "")] == [
        True, True, True, False, False, False, False,
    ]  # fmt: skip


def test_a_thousand_names_take_as_many_statements_as_one(tmp_path: Path) -> None:
    store = store_file(tmp_path, names("Scyliorhinus canicula", "Squalus acanthias", "Scyliorhinidae"))
    asked: list[str] = []

    class Counting:
        a = store._store.a

        def select(self, sql: str, *lists: object) -> list[tuple[object, ...]]:
            asked.append(sql)
            return store._store.select(sql, *lists)  # type: ignore[arg-type]

    typed = [Reading("Scylliorhinnus", "vanicula"), Reading("Sciliorhinidea"), Reading("S.", "acanthias")]
    nearest(Counting(), typed, "few")
    few = len(asked)
    asked.clear()
    many = [
        Reading(f"Scylliorhinnus{letter}", f"vanicul{end}") for letter in "abcdefg" for end in "abcdefghij"
    ]
    nearest(Counting(), [*typed, *many], "many")
    assert len(asked) <= few
