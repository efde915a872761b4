"""Source shares the long way: every possible assignment, one after another, and the chance of each.

Shares no code with the rules but the steps themselves. For a handful of animals only.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from math import comb, prod
from random import Random
from typing import Any

from hypothesis import strategies as st

from inventory.permits.rules.shares import Seen, Step

# Of each box, how many animals of each source: a sorted tuple, so that equal worlds are one.
World = tuple[tuple[Any, tuple[tuple[str, int], ...]], ...]


def worlds(steps: Sequence[Step | Seen]) -> dict[World, Fraction]:
    """Every world that the steps can lead to, with its chance when each step draws without looking.

    Evidence keeps the worlds in which it is true, with the chance of that; the chances are not scaled,
    and with none left the evidence contradicts the steps. No box may go below zero.
    """
    found: dict[World, Fraction] = {(): Fraction(1)}
    for step in steps:
        after: defaultdict[World, Fraction] = defaultdict(Fraction)
        for world, chance in found.items():
            for next_world, part in _taken(dict(world), step):
                after[next_world] += chance * part
        found = dict(after)
    return found


def _taken(world: dict[Any, Any], step: Step | Seen) -> Iterator[tuple[World, Fraction]]:
    if isinstance(step, Seen):
        here = dict(world.get(step.box, ()))
        if here.get(step.source, 0) >= step.n:
            yield _frozen(world), Fraction(1)
        return
    if step.from_box is None:
        yield (
            _frozen(world | {step.to_box: _plus(world.get(step.to_box, ()), {step.source: step.n})}),
            Fraction(1),
        )
        return
    here = dict(world[step.from_box])
    whole = comb(sum(here.values()), step.n)
    for drawn in _draws(list(here.items()), step.n):
        if step.source is not None and drawn != {step.source: step.n}:
            continue
        left = _plus(here.items(), {source: -n for source, n in drawn.items()})
        there = _plus(world.get(step.to_box, ()), drawn)
        chance = Fraction(prod(comb(here[source], n) for source, n in drawn.items()), whole)
        yield _frozen(world | {step.from_box: left, step.to_box: there}), chance


def _draws(here: list[tuple[str, int]], n: int) -> Iterator[dict[str, int]]:
    """Every way to take ``n`` of what is here."""
    if not here:
        if n == 0:
            yield {}
        return
    (source, most), *others = here
    for k in range(min(most, n) + 1):
        for rest in _draws(others, n - k):
            yield {source: k, **rest} if k else rest


def _plus(numbers: Any, more: dict[Any, int]) -> tuple[tuple[str, int], ...]:
    total = defaultdict(int, dict(numbers))
    for source, n in more.items():
        total[source] += n
    return tuple(sorted((source, n) for source, n in total.items() if n))


def _frozen(world: dict[Any, Any]) -> World:
    return tuple(sorted((box, numbers) for box, numbers in world.items() if numbers))


def number_in(world: World, sources: set[str], places: set[str], place_of: Callable[[Any], Any]) -> int:
    """Animals of ``sources`` in ``places``."""
    return sum(
        n for box, numbers in world if place_of(box) in places for source, n in numbers if source in sources
    )


BOXES = ("a", "b", "c", "d")
FATES = ("died", "sent")
SOURCES = ("P1", "P2", "given")


@st.composite
def histories(
    draw: st.DrawFn, *, evidence: bool = False, lies: bool = False, longest: int = 12
) -> list[Step | Seen]:
    """Steps of few animals in few boxes, none of which goes below zero.

    A hidden assignment is made on the way, out of which true ``evidence`` comes; ``lies`` are not asked
    of it.
    """
    # Of a seed, so that chances are as written; Hypothesis alone prefers extremes, which leave no pools.
    rng = Random(draw(st.integers(0, 2**32)))
    held: dict[str, list[str]] = {box: [] for box in (*BOXES, *FATES)}
    steps: list[Step | Seen] = []

    def arrive(box: str, source: str, n: int) -> None:
        steps.append(Step(None, box, n, source))
        held[box] += [source] * n

    for source in SOURCES[: rng.randint(2, 3)]:
        arrive("a", source, rng.randint(1, 2))
    for _ in range(draw(st.integers(longest // 2, longest))):
        full = [box for box in BOXES if held[box]]
        if not full or (rng.random() < 0.15 and sum(map(len, held.values())) < 12):
            arrive(rng.choice(BOXES), rng.choice(SOURCES), rng.randint(1, 2))
            continue
        box = rng.choice(full)
        here = held[box]
        rng.shuffle(here)
        if evidence and rng.random() < 0.06:
            source = rng.choice(SOURCES) if lies else here[0]
            steps.append(Seen(box, 1 if lies else rng.randint(1, here.count(source)), source))
            continue
        n = rng.randint(1, min(len(here), 2) if rng.random() < 0.8 else len(here))
        known = None
        if evidence and rng.random() < 0.15:
            known = rng.choice(SOURCES) if lies else here[0]
            # Stand first those that are told of.
            here.sort(key=lambda source: source != known)
            n = min(n, here.count(known)) or n
        to = rng.choice([other for other in (*BOXES, *BOXES, *FATES) if other != box])
        steps.append(Step(box, to, n, known))
        held[box], gone = here[n:], here[:n]
        held[to] += gone
    return steps
