"""Which line of a permit covers an animal.

A line covers one kind of animal, all of a higher taxon, a group named together, or those of a group that
no other line names. Where several lines cover an animal the narrowest counts it, and only that one: an
animal is never counted twice.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

TAXON = "taxon"
HIGHER = "higher"
GROUP = "group"
NOT_LISTED = "not_listed"
_ORDER = {TAXON: 0, GROUP: 1, HIGHER: 2, NOT_LISTED: 3}
# From the narrowest; anything that is no rank of a classification counts as the name of the animal.
RANKS = ("species", "genus", "family", "order", "class", "phylum", "kingdom")


@dataclass(frozen=True, slots=True)
class Animal:
    """A kind of animal: its row in the house, its name, and its higher names by rank."""

    taxon_id: int
    name: str
    higher: tuple[tuple[str, str], ...] = ()

    def rank_of(self, name: str, rank: str) -> str:
        """The rank at which the animal bears ``name``; blank when it does not."""
        if name == self.name:
            return RANKS[0]
        for own_rank, own in self.higher:
            if own == name and rank in ("", own_rank):
                return own_rank
        return ""


@dataclass(frozen=True, slots=True)
class Member:
    """One name of a link; ``taxon_id`` where it is a kind that the house knows."""

    name: str
    rank: str = ""
    taxon_id: int | None = None


@dataclass(frozen=True, slots=True)
class Covers:
    """What one line covers, by its number."""

    number: int
    scope: str
    members: Sequence[Member]

    def breadth(self, animal: Animal) -> int | None:
        """How wide the name is by which the line covers the animal (0: its own); none: it does not."""
        found = []
        for member in self.members:
            if member.taxon_id is not None:
                if member.taxon_id == animal.taxon_id:
                    found.append(0)
                continue
            rank = animal.rank_of(member.name, member.rank)
            if rank:
                found.append(RANKS.index(rank))
        return min(found, default=None)


def line_for(animal: Animal, lines: Iterable[Covers]) -> int | None:
    """The number of the line that counts the animal, or none."""
    covering = []
    for place, line in enumerate(lines):
        breadth = line.breadth(animal)
        if breadth is not None:
            covering.append((line.scope == NOT_LISTED, breadth, _ORDER[line.scope], place, line.number))
    return min(covering)[-1] if covering else None


_AROUND = re.compile(r"^\s*(?:(\d+)\s*[x\u00d7]?\s+)?(.*?)(?:\s*[x\u00d7]\s*(\d+))?\s*$", re.IGNORECASE)


def field_name(written: str) -> tuple[str, int | None]:
    """The name in what was written in the field, and the number beside it: "sea snail x3"."""
    found = _AROUND.match(written)
    if found is None:
        return written.strip(), None
    number = found[1] or found[3]
    return found[2].strip(), int(number) if number else None


def names_in(words: str) -> frozenset[str]:
    """The names that a line's words give to one animal, in small letters.

    "Sea snail (Liparis liparis)" gives both; what stands after a comma is a condition, no name.
    """
    parts = re.split(r"[()]", words.partition(",")[0])
    return frozenset(part.strip().lower() for part in parts if part.strip())
