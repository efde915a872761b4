"""The picture of a classification: choices side by side, kingdom to genus, joined where they agree."""

from collections.abc import Sequence
from dataclasses import dataclass

from .verdicts import Classification

RANKS = ("kingdom", "phylum", "class", "order", "family", "genus")


@dataclass(frozen=True, slots=True)
class Branch:
    """One name at one rank, over ``span`` neighbouring choices. Blank: not said."""

    name: str
    span: int


@dataclass(frozen=True, slots=True)
class Level:
    """One rank across all choices. ``parts``: the first rank at which they are of different names."""

    rank: str
    branches: tuple[Branch, ...]
    parts: bool = False

    @property
    def names(self) -> list[str]:
        """The different names of this rank, in order."""
        return list(dict.fromkeys(branch.name for branch in self.branches if branch.name))


def levels(classifications: Sequence[Classification]) -> list[Level]:
    """One level for each rank that any choice states.

    Neighbours share a branch as long as they agree from the kingdom down to that rank.
    """
    paths = [_path(classification) for classification in classifications]
    found: list[Level] = []
    for depth, rank in enumerate(RANKS):
        level = Level(rank, tuple(_branches(paths, depth)))
        if not level.names:
            continue
        has_parted = any(one.parts for one in found)
        found.append(Level(rank, level.branches, parts=not has_parted and len(level.names) > 1))
    return found


def _path(known: Classification) -> tuple[str, ...]:
    return (known.kingdom, known.phylum, known.class_name, known.order, known.family, known.genus)


def _branches(paths: Sequence[tuple[str, ...]], depth: int) -> list[Branch]:
    branches: list[Branch] = []
    before: tuple[str, ...] | None = None
    for path in paths:
        here = path[: depth + 1]
        if here == before:
            branches[-1] = Branch(branches[-1].name, branches[-1].span + 1)
        else:
            branches.append(Branch(here[-1], 1))
        before = here
    return branches
