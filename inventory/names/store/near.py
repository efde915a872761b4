"""Names near a typed one, provably all of the least distance up to three edits.

*Two words or more.* Let genus and epithet of a name be ``g`` and ``e`` edits from those typed, with
``g + e <= 3`` (and whatever the third word adds, it only adds). Both cannot be 2 or more, for then
the sum were 4. So ``g <= 1`` or ``e <= 1``: the name has a genus within one edit of the typed genus,
or an epithet within one edit of the typed epithet (a wrong ending of gender counts as one edit,
so the forms of the typed epithet belong there). The single-deletion index
(:mod:`inventory.names.rules.deletions`) gives all such genera and all such epithets; the names
that have them are read and measured by :func:`inventory.names.rules.distance.name_distance`.
Only the nearest are wanted, and what comes by the epithet alone has ``g >= 2``: so the second
look is spared when the first found a name at one edit or less, and needs the epithet to the letter
when it found one at two.

*One word.* One edit by the same index; two by making one of the edits and leaving the other to the
index; three, which only words of 15 letters may have, among all long words of the release.

Words that hold digits or signs are codes; nobody misspells them, and they are in no index.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import partial

from rapidfuzz import process
from rapidfuzz.distance import OSA

from ..rules.deletions import keys_two_edits
from ..rules.distance import LIMIT, gender_forms, genus_limit, name_distance
from ..rules.parse import Reading
from .schema import Asked
from .words import Words, word_numbers, words_near

# Readings looked up together: bounds the memory; each so many take a fixed number of statements.
_TOGETHER = 1_000
_TWO_EDITS_TOGETHER = 50
# Releases whose long words are kept in memory; a few MB each.
_KEPT = 2

Query = tuple[str, ...]
Distances = dict[str, tuple[int, ...]]
LongWords = Mapping[int, Mapping[str, str]]
# A word, typed or known, has this many letters where three edits are allowed.
_LONG = next(length for length in range(1, 100) if genus_limit("x" * length, 0) > 2)
_LEAST = _LONG - LIMIT
_long_words: dict[str, LongWords] = {}


def nearest(store: Asked, readings: Collection[Reading], fingerprint: str) -> dict[Reading, Distances]:
    """By reading the nearest canonical names, each with its edits word by word.

    For an abbreviated genus all names that it may stand for, at no distance.
    """
    found: dict[Query, Distances] = {}
    queries = sorted({tuple(reading.canonical.split(" ")) for reading in readings})
    for start in range(0, len(queries), _TOGETHER):
        found |= _nearest(store, queries[start : start + _TOGETHER], fingerprint)
    return {reading: found.get(tuple(reading.canonical.split(" ")), {}) for reading in readings}


def _nearest(store: Asked, queries: Sequence[Query], fingerprint: str) -> dict[Query, Distances]:
    short = [query for query in queries if len(query) > 1 and query[0].endswith(".")]
    several = [query for query in queries if len(query) > 1 and not query[0].endswith(".")]
    single = [query for query in queries if len(query) == 1]
    found = _abbreviated(store, short)
    genera = words_near(store, "first", {query[0] for query in (*several, *single)})
    found |= _by_genus(store, several, genera)
    found |= _by_epithet(store, several, found)
    found |= _one_word(store, single, genera, fingerprint)
    return found


class _Best:
    """The nearest names of one query met so far."""

    def __init__(self, query: Query, names: Mapping[str, tuple[int, ...]] | None = None) -> None:
        self._query = query
        self.names: Distances = dict(names or {})

    @property
    def total(self) -> int:
        """Their distance; one more than any may have while there is none."""
        return next((sum(distances) for distances in self.names.values()), LIMIT + 1)

    def meet(self, *words: str) -> None:
        """Takes a name if it is as near, alone if it is nearer."""
        distances = name_distance(self._query, words)
        if distances is None or sum(distances) > self.total:
            return
        if sum(distances) < self.total:
            self.names.clear()
        self.names[" ".join(words)] = distances


def _by_genus(store: Asked, queries: Iterable[Query], genera: Mapping[str, Words]) -> dict[Query, Distances]:
    """Names whose genus is within one edit."""
    queries = list(queries)
    numbers = {number for query in queries for number in genera[query[0]].values()}
    rows = store.select(
        "SELECT u.first, w.word, u.rest FROM {each} CROSS JOIN {t}usage u CROSS JOIN {t}second_word w"
        " WHERE u.first = j.value AND w.id = u.second",
        sorted(numbers),
    )
    names = _Names()
    for first, second, rest in rows:
        names.add(first, second, rest)
    found = {}
    for query in queries:
        best = _Best(query)
        forms = gender_forms(query[1])
        for genus, number in genera[query[0]].items():
            for epithet, rest in names.near(number, len(query), query[1], forms):
                best.meet(genus, epithet, *rest)
        found[query] = best.names
    return found


def _by_epithet(
    store: Asked, queries: Iterable[Query], met: Mapping[Query, Distances]
) -> dict[Query, Distances]:
    """Names whose epithet is within one edit, where these may be nearer than those met or as near."""
    best_of = {query: _Best(query, met[query]) for query in queries}
    wide = [q for q, best in best_of.items() if best.total > LIMIT - 1 and genus_limit(q[0], LIMIT) > 1]
    exact = [q for q, best in best_of.items() if best.total == LIMIT - 1 and genus_limit(q[0], LIMIT) > 1]
    if not wide and not exact:
        return {}
    near = words_near(store, "second", {query[1] for query in wide})
    forms = {query: {query[1], *gender_forms(query[1])} for query in wide}
    forms |= {query: {query[1]} for query in exact}
    known = word_numbers(store, "second", set().union(*forms.values()))
    epithets = {query: {form: known[form] for form in own if form in known} for query, own in forms.items()}
    for query in wide:
        epithets[query] |= near[query[1]]
    numbers = {number for words in epithets.values() for number in words.values()}
    rows = store.select(
        "SELECT u.second, f.word, u.rest FROM {each} CROSS JOIN {t}usage u CROSS JOIN {t}first_word f"
        " WHERE u.second = j.value AND u.second > 0 AND f.id = u.first",
        sorted(numbers),
    )
    names = _Names()
    for second, first, rest in rows:
        names.add(second, first, rest)
    for query, words in epithets.items():
        for epithet, number in words.items():
            for genus, rest in names.near(number, len(query), query[0]):
                best_of[query].meet(genus, epithet, *rest)
    return {query: best_of[query].names for query in epithets}


class _Names:
    """Names by the number of one of their words: the other word, and the words after."""

    def __init__(self) -> None:
        self._of: dict[tuple[int, int], dict[str, set[tuple[str, Query]]]] = defaultdict(dict)

    def add(self, number: int, word: str, rest: str) -> None:
        """``rest`` are the words after the second, blank for none."""
        after = tuple(rest.split(" ")) if rest else ()
        self._of[number, 2 + len(after)].setdefault(word.casefold(), set()).add((word, after))

    def near(
        self, number: int, length: int, word: str, forms: Collection[str] = ()
    ) -> Iterator[tuple[str, Query]]:
        """Of the names of ``length`` words those whose other word is within the limit, or a form."""
        words = self._of.get((number, length))
        if not words:
            return
        rough = process.extract(
            word.casefold(), words.keys(), scorer=OSA.distance, score_cutoff=LIMIT, limit=None
        )
        for low in {*(low for low, _, _ in rough), *(form for form in forms if form in words)}:
            yield from words[low]


def _one_word(
    store: Asked, queries: Sequence[Query], genera: Mapping[str, Words], fingerprint: str
) -> dict[Query, Distances]:
    """Names of one word: first within one edit, then two, then three."""
    found: dict[Query, Distances] = {}
    open_ = list(queries)
    for step in (partial(_known, genera), _two_edits, partial(_three_edits, fingerprint)):
        if not open_:
            break
        words = step(store, open_)
        alone = _alone(store, {number for some in words.values() for number in some.values()})
        for query in open_:
            best = _Best(query)
            for word, number in words.get(query[0], {}).items():
                if number in alone:
                    best.meet(word)
            if best.names:
                found[query] = best.names
        open_ = [query for query in open_ if query not in found]
    return found


def _known(genera: Mapping[str, Words], _store: Asked, _queries: Sequence[Query]) -> Mapping[str, Words]:
    return genera


def _two_edits(store: Asked, queries: Sequence[Query]) -> Mapping[str, Words]:
    words = sorted({word for (word,) in queries if genus_limit(word, 2) > 1})
    found: dict[str, Words] = {}
    for start in range(0, len(words), _TWO_EDITS_TOGETHER):
        some = words[start : start + _TWO_EDITS_TOGETHER]
        found |= words_near(store, "first", some, limit=2, keys=_keys_two_edits)
    return found


def _keys_two_edits(word: str) -> set[int]:
    """A word too short for two edits by itself is only asked for longer ones."""
    return keys_two_edits(word, longer=genus_limit(word, 0) < 2)


def _three_edits(fingerprint: str, store: Asked, queries: Sequence[Query]) -> Mapping[str, Words]:
    words = {word for (word,) in queries if genus_limit(word, LIMIT) > 2}
    if not words:
        return {}
    long = _long(store, fingerprint)
    near = {word: list(_within_three(word, long)) for word in words}
    numbers = word_numbers(store, "first", {known for some in near.values() for known in some})
    return {word: {known: numbers[known] for known in some} for word, some in near.items()}


def _within_three(word: str, long: LongWords) -> Iterator[str]:
    """Only words as long as the limit asks, the typed or the known one, and of like length."""
    low = word.casefold()
    for length in range(max(_LEAST, len(low) - LIMIT), len(low) + LIMIT + 1):
        if max(length, len(low)) >= _LONG:
            known = long.get(length, {})
            for _, _, written in process.extract(
                low, known, scorer=OSA.distance, score_cutoff=LIMIT, limit=None
            ):
                yield written


def _long(store: Asked, fingerprint: str) -> LongWords:
    """First words that a word with three edits may be meant for, and the same in lower case, by length."""
    if fingerprint not in _long_words:
        rows = store.select(f"SELECT w.word FROM {{t}}first_word w WHERE length(w.word) >= {_LEAST}")
        by_length: dict[int, dict[str, str]] = defaultdict(dict)
        for (word,) in rows:
            low = word.casefold()
            by_length[len(low)][word] = low
        while len(_long_words) >= _KEPT:
            _long_words.pop(next(iter(_long_words)))
        _long_words[fingerprint] = by_length
    return _long_words[fingerprint]


def _alone(store: Asked, numbers: Collection[int]) -> set[int]:
    """Of these first words those that are a name by themselves."""
    rows = store.select(
        "SELECT u.first FROM {each} CROSS JOIN {t}usage u"
        " WHERE u.first = j.value AND u.second = 0 AND u.rest = ''",
        sorted(numbers),
    )
    return {row[0] for row in rows}


def _abbreviated(store: Asked, queries: Sequence[Query]) -> dict[Query, Distances]:
    """All names with these epithets whose genus begins as abbreviated."""
    if not queries:
        return {}
    known = word_numbers(store, "second", {query[1] for query in queries})
    rows = store.select(
        "SELECT u.second, f.word, u.rest FROM {each} CROSS JOIN {t}usage u CROSS JOIN {t}first_word f"
        " WHERE u.second = j.value AND u.second > 0 AND f.id = u.first",
        sorted({known[query[1]] for query in queries if query[1] in known}),
    )
    names: dict[int, set[tuple[str, str]]] = defaultdict(set)
    for second, first, rest in rows:
        names[second].add((first, rest))
    return {
        query: {
            " ".join((first, *query[1:])): (0,) * len(query)
            for first, rest in names.get(known.get(query[1], 0), ())
            if first.startswith(query[0].rstrip(".")) and rest == " ".join(query[2:])
        }
        for query in queries
    }
