"""Takes the author off a name, and a name into its words."""

import re
from functools import lru_cache

from ..rules.deletions import is_word
from ..rules.parse import parse

LONGEST = 300

_PLAIN = re.compile(
    r"(?P<name>[A-Z][a-zëïöüé-]+(?: [a-zëïöüé-]{2,})?)"
    r"(?: (?P<author>[(A-ZÀ-ÞŠŽĆČ\"'][^\d:]*(?:,? \d{4}[a-z]?\)?)?))?"
)
# Second words after which the parser has to look closely, or that are no epithets.
_NOT_EPITHETS = {"sp", "spp", "cf", "aff", "nr", "var", "subsp", "ssp", "virus", "phage", "de", "van", "von"}
# Small words within an author; any other may be the third word of a name.
_PARTICLES = {
    "de", "da", "do", "dos", "du", "del", "della", "di", "la", "le", "van", "von", "der", "den", "zu", "ten",
    "et", "and", "y", "in", "ex", "f", "fil", "al", "non", "nec", "emend",
}  # fmt: skip


def canonical_of(scientific_name: str, authorship: str) -> tuple[str, str]:
    """Name without author, and author, of a name that is written with it.

    Plain names, the most by far, go by rules of our own, at a million a second; whatever has more to
    it goes to the parser. What is no name to the parser (a code of a sequence cluster, a virus)
    stands as it is.
    """
    text = " ".join(scientific_name.split())
    if authorship and text.endswith(f" {authorship}"):
        text = text[: -len(authorship) - 1]
    found = _PLAIN.fullmatch(text)
    if found and _is_plain(found["name"].partition(" ")[2], found["author"] or ""):
        return found["name"], authorship or found["author"] or ""
    readings = parse(text).readings
    if not readings:
        return text, authorship
    return readings[0].canonical, authorship or readings[0].authorship


def _is_plain(second: str, author: str) -> bool:
    if second in _NOT_EPITHETS or (not second and author.startswith("(")):
        return False
    small = (word.strip(".,&") for word in author.split() if word[0].islower())
    return all(word in _PARTICLES for word in small)


def split(canonical: str) -> tuple[str, str, str]:
    """First word, second word, rest; a name whose first word is no word stands whole in the rest."""
    first, _, more = canonical.partition(" ")
    if not is_word(first):
        return "", "", canonical
    second, _, rest = more.partition(" ")
    return first, second, rest


@lru_cache(maxsize=256)
def low_rank(rank: str) -> str:
    """A rank in lower case, as long as a check can keep."""
    return rank.casefold()[:40]
