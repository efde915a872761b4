"""How far names are from each other."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.names.rules.distance import LIMIT, epithet_distance, genus_distance, name_distance

LETTERS = st.text("abcdefghijklmnopqrstuvwxyz", min_size=4, max_size=14)


@pytest.mark.parametrize(
    ("typed", "known", "expected"),
    [
        ("Carcinus meanas", "Carcinus maenas", (0, 1)),  # two letters swapped
        ("Anarhicas lupus", "Anarhichas lupus", (1, 0)),  # one left out
        ("Scyliorhinus caniculus", "Scyliorhinus canicula", (0, 1)),  # the ending of another gender
        ("Scyliorhinus caniculus", "Scyliorhinus stellaris", None),
        ("Pomatoschistis minitus", "Pomatoschistus minutus", (1, 1)),
        ("Gadus morhua", "Gadus morhua callarias", None),  # other rank, other name
        ("Labrus mixtus", "Labrus bergylta", None),
        ("Zeus faber", "Deus faber", (1, 0)),
    ],
)
def test_genus_and_epithet_are_compared_apart(
    typed: str, known: str, expected: tuple[int, ...] | None
) -> None:
    assert name_distance(tuple(typed.split(" ")), tuple(known.split(" "))) == expected


@given(LETTERS, st.integers(0, 12))
def test_a_swap_of_neighbours_is_one_edit(word: str, at: int) -> None:
    at = min(at, len(word) - 2)
    swapped = word[:at] + word[at + 1] + word[at] + word[at + 2 :]
    assert epithet_distance(swapped, word) == (0 if swapped == word else 1)


@given(LETTERS, LETTERS)
def test_distance_is_the_same_both_ways_and_within_the_limit(one: str, other: str) -> None:
    for distance in (genus_distance, epithet_distance):
        there = distance(one, other)
        assert there == distance(other, one)
        assert there is None or 0 <= there <= LIMIT
        assert distance(one, one) == 0


@pytest.mark.parametrize("pair", [("albus", "alba"), ("niger", "nigra"), ("viridis", "viride")])
def test_an_ending_of_gender_counts_one(pair: tuple[str, str]) -> None:
    assert epithet_distance(*pair) == 1
