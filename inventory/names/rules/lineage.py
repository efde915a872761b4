"""The picture of a classification: choices side by side, kingdom to species, joined where they agree."""

from collections.abc import Sequence
from dataclasses import dataclass

from .verdicts import Choice, Classification

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


def levels(choices: Sequence[tuple[Choice, Classification]]) -> list[Level]:
    """One level for each rank that any choice states, and one for the choices themselves.

    Neighbours share a branch as long as they agree from the kingdom down to that rank. Nothing at
    all when no choice has a classification.
    """
    paths = [(*_path(known), f"{choice.name} {choice.authorship}".strip()) for choice, known in choices]
    if not any(any(path[:-1]) for path in paths):
        return []
    are_species = all(choice.rank.casefold() == "species" for choice, _ in choices)
    found: list[Level] = []
    for depth, rank in enumerate((*RANKS, "species" if are_species else "name")):
        level = Level(rank, tuple(_branches(paths, depth)))
        if level.names:
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
