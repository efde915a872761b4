"""Planted causes, found again: how many, how fast, and how many the simple rule finds.

    .venv/bin/python -m tests.benchmarks.bench_differences
    .venv/bin/python -m tests.benchmarks.bench_differences --places 60 --taxa 300 --differences 150

How the house is planted, and what is assumed by it, stands in ``tests/benchmarks/planted.py``. The simple
rule pairs equal opposite differences of one kind, as a person with a sorted list would.
"""

import argparse
import time
from collections import defaultdict
from collections.abc import Sequence

from census.differences.rules.causes import Cause
from census.differences.rules.explain import Explained, explain
from census.differences.rules.facts import Line

from .planted import LEVELS, House, Planted, Size, planted_house

Found = set[tuple[str, str, int]]


def main() -> None:
    """Prints one row for each level of noise."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name in ("places", "taxa", "differences"):
        parser.add_argument(f"--{name}", type=int, default=getattr(Size(), name))
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    size = Size(asked.places, asked.taxa, asked.differences)
    print(f"{size.places} places, {size.taxa:,} kinds, {size.differences:,} differences, seed {asked.seed}")
    print(
        f"{'':46} {'lines':>6} {'joined':>7} {'s':>6} {'proved':>7}"
        f" | {'moves':>5} {'found':>6} {'number':>6} {'simple':>6} | {'swaps':>5} {'found':>6} {'simple':>6}"
        f" | {'both':>6} {'right':>6} {'hidden':>6}"
    )
    for level in LEVELS:
        house = planted_house(size, level, asked.seed)
        begin = time.process_time()
        answers = explain(house.lines, house.facts)
        print(f"{level.name:46} {_row(house, answers, time.process_time() - begin)}")
    print(
        "found: the cheapest set has a move (a change of name) between those two lines; number: and of that "
        "number.\nboth: moves and swaps together. right: of the moves and changes of name proposed, how many "
        "were planted.\nhidden: planted, but both lines lie inside the error of their counts, so that nobody "
        "looks; not counted above.\njoined: lines in the largest set that hangs together. simple: equal "
        "opposite differences of one kind are paired. s: seconds of one processor."
    )


def _row(house: House, answers: dict[str, Explained], seconds: float) -> str:
    proposed = proposals(answers)
    ends = {(loses, gains) for loses, gains, _ in proposed}
    outside = {line.key for line in house.lines if line.difference and not line.inside}
    seen = [one for one in house.truth if {one.loses, one.gains} & outside]
    moves = [one for one in seen if one.cause == "move"]
    swaps = [one for one in seen if one.cause == "swap"]
    hidden = sum(one.cause in ("move", "swap") for one in house.truth) - len(moves) - len(swaps)
    simple = simple_rule(house.lines)
    solutions = [one.solution for one in answers.values() if one.solution]
    both = [*moves, *swaps]
    planted = {(one.loses, one.gains) for one in both}
    return (
        f"{len(solutions):6,} {max(len(one.joined) for one in answers.values()):7} {seconds:6.2f}"
        f" {_share(sum(one.proved for one in solutions), len(solutions)):>7}"
        f" | {len(moves):5} {_recall(moves, ends):>6} {_share(_exact(moves, proposed), len(moves)):>6}"
        f" {_recall(moves, simple):>6}"
        f" | {len(swaps):5} {_recall(swaps, ends):>6} {_recall(swaps, simple):>6}"
        f" | {_recall(both, ends):>6} {_share(len(ends & planted), len(ends)):>6} {hidden:6}"
    )


def proposals(answers: dict[str, Explained]) -> Found:
    """(loses, gains, n) of every move and change of name in the cheapest sets."""
    return {
        (one.possible.candidate.loses, one.possible.candidate.gains, one.n)
        for answer in answers.values()
        for one in answer.ranked
        if one.best and one.possible.cause in (Cause.MOVE, Cause.LOOK_ALIKE)
    }


def simple_rule(lines: Sequence[Line]) -> set[tuple[str, str]]:
    """Equal opposite differences of one kind, paired in the order of the list."""
    by_kind: dict[tuple[str, int], list[Line]] = defaultdict(list)
    for line in lines:
        if line.difference > 0:
            by_kind[line.taxon, line.difference].append(line)
    pairs = set()
    for line in lines:
        waiting = by_kind.get((line.taxon, -line.difference)) if line.difference < 0 else None
        if waiting:
            pairs.add((line.key, waiting.pop(0).key))
    return pairs


def _exact(planted: Sequence[Planted], proposed: Found) -> int:
    return sum((one.loses, one.gains, one.n) in proposed for one in planted)


def _recall(planted: Sequence[Planted], ends: set[tuple[str, str]]) -> str:
    return _share(sum((one.loses, one.gains) in ends for one in planted), len(planted))


def _share(n: int, of: int) -> str:
    return f"{100 * n / of:.0f} %" if of else "-"


if __name__ == "__main__":
    main()
