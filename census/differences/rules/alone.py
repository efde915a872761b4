"""The cheapest sets of causes of one line by itself, by trying every set."""

from collections.abc import Iterator, Sequence
from itertools import combinations

from .model import Candidate, Component


def enumerate_alone(part: Component) -> list[tuple[int, dict[str, int]]]:
    """(cost, amounts) of every set of causes that is consistent, cheapest first; ties by the keys.

    With the used causes chosen, each has its least animals at once, and the rest goes to the cheapest
    that runs the right way: costs grow with every animal, so that two that run against each other
    are never both raised.
    """
    ((node, difference),) = part.differences.items()
    noise = [one for one in part.candidates if one.noise]
    causes = [one for one in part.candidates if not one.noise]
    found: list[tuple[int, dict[str, int]]] = []
    for chosen in _subsets(causes):
        amounts = _filled(node, difference, chosen, noise)
        if amounts is not None:
            found.append((part.cost_of(amounts), amounts))
    found.sort(key=lambda one: (one[0], sorted(one[1].items())))
    return found


def _subsets(causes: Sequence[Candidate]) -> Iterator[tuple[Candidate, ...]]:
    for size in range(len(causes) + 1):
        yield from combinations(causes, size)


def _filled(
    node: str, difference: int, chosen: Sequence[Candidate], noise: Sequence[Candidate]
) -> dict[str, int] | None:
    amounts = {one.key: one.most if one.whole else one.least for one in chosen}
    rest = difference - sum(one.effect(node) * amounts[one.key] for one in chosen)
    free = [one for one in (*chosen, *noise) if not one.whole]
    for one in sorted(free, key=lambda one: (one.each, one.key)):
        if rest * one.effect(node) > 0:
            more = min(abs(rest), one.most - amounts.get(one.key, 0))
            amounts[one.key] = amounts.get(one.key, 0) + more
            rest -= one.effect(node) * more
    if rest:
        return None
    return {key: n for key, n in amounts.items() if n}
