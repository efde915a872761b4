"""Words of a store: their numbers, and the words within a few edits of a word."""

from collections import defaultdict
from collections.abc import Callable, Collection

from rapidfuzz.distance import OSA

from ..rules.deletions import deletion_keys
from .schema import Asked

# A word as the store writes it, and its number.
Words = dict[str, int]


def word_numbers(store: Asked, kind: str, words: set[str]) -> dict[str, int]:
    """Numbers of first or second words that the store knows; 0 for the blank."""
    wanted = sorted(words - {""})
    if not wanted:
        return {"": 0}
    rows = store.select(
        f"SELECT w.word, w.id FROM {{each}} CROSS JOIN {{t}}{kind}_word w WHERE w.word = j.value", wanted
    )
    return {"": 0, **dict(rows)}


def words_near(
    store: Asked,
    kind: str,
    words: Collection[str],
    *,
    limit: int = 1,
    keys: Callable[[str], set[int]] = deletion_keys,
) -> dict[str, Words]:
    """For each word the first or second words of the store within ``limit`` edits. One statement."""
    keys_of = {word: keys(word) for word in words}
    rows = store.select(
        f"SELECT d.hash, w.word, w.id FROM {{each}} CROSS JOIN {{t}}{kind}_deletion d"
        f" CROSS JOIN {{t}}{kind}_word w WHERE d.hash = j.value AND w.id = d.word",
        sorted(set().union(*keys_of.values())),
    )
    sharing: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for key, word, number in rows:
        sharing[key].append((word, number))
    return {word: _measured(word, found, sharing, limit) for word, found in keys_of.items()}


def _measured(word: str, keys: set[int], sharing: dict[int, list[tuple[str, int]]], limit: int) -> Words:
    candidates = {known: number for key in keys for known, number in sharing.get(key, ())}
    low = word.casefold()
    return {
        known: number
        for known, number in candidates.items()
        if OSA.distance(low, known.casefold(), score_cutoff=limit) <= limit
    }
