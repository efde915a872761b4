"""How long the source shares of a big house take: 20,000 lots, 5,000 joins, 50 sources.

    python -m tests.benchmarks.bench_shares [--lots N] [--joins N] [--sources N] [--repeat N]

Made of steps in memory, no database. Two houses: one whose lots are joined within their kind of animal, as
in life (forty lots a kind), and one in which any lot is joined to any, which makes one pool of all. The
time is from the steps to the least, the most and the even share of every source in every fate and in all
that is alive together. Then, with some deaths of known source, the same; then bounds lot by lot for a few
sources, which is asked on demand. Beside it, one of these thousand questions as a linear program on the
whole network (HiGHS). At last one strongly entangled pool, a hundred lots moved among each other 1,500 times,
with evidence of single animals that can have come by many ways. Medians of ``--repeat`` runs.
"""

import argparse
import random
import statistics
import sys
import time
from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from inventory.permits.rules.shares import Shares, Step

FATES = ("died", "put_down", "unaccounted", "released", "sent")
PLACES = ("here", "on loan", "missing", *FATES)
Box = tuple[int, str]


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Benchmark of the source shares.")
    parser.add_argument("--lots", type=int, default=20_000)
    parser.add_argument("--joins", type=int, default=5_000)
    parser.add_argument("--sources", type=int, default=50)
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args(arguments)
    size = (options.lots, options.joins, options.sources)
    for kinds, words in ((40, "joined within forty lots of a kind"), (options.lots, "any joined to any")):
        steps = house(*size, together=kinds)
        known = house(*size, together=kinds, known=0.02)
        print(
            f"{words}: {len(steps):,} steps, {options.lots:,} lots, {options.joins:,} joins,"
            f" {options.sources} sources"
        )
        report("all sources in all fates", options.repeat, lambda steps=steps: all_bounds(steps))
        if kinds != options.lots:
            number = sum(step.from_box is not None and step.source is not None for step in known)
            report(
                f"the same with {number:,} deaths of known source",
                options.repeat,
                lambda known=known: all_bounds(known),
            )
        report("one source lot by lot, 100 lots", options.repeat, lambda steps=steps: by_lot(steps))
        report("beside it: one question as a linear program", 1, lambda steps=steps: plain(steps))
    tangle = entangled()
    number = sum(step.from_box is not None and step.source is not None for step in tangle)
    print(f"one entangled pool: {len(tangle):,} steps, 100 lots, 12 sources, {number} deaths of known source")
    report("all sources in all fates", options.repeat, lambda: all_bounds(tangle))
    return 0


def entangled(lots: int = 100, moves: int = 1_500, sources: int = 12, seed: int = 1) -> list[Step]:
    """Animals that go from any lot to any, and every tenth death is of a marked one: all of it is true."""
    rng = random.Random(seed)
    steps: list[Step] = []
    held: dict[Box, list[int]] = {}
    for lot in range(lots):
        source, n = rng.randrange(sources), rng.randint(5, 40)
        steps.append(Step(None, (lot, "here"), n, source))
        held[lot, "here"] = [source] * n
    for _ in range(moves):
        box = rng.choice([box for box in held if held[box]])
        rng.shuffle(held[box])
        if rng.random() < 0.5:
            other = rng.choice([other for other in held if other != box])
            n = rng.randint(1, len(held[box]))
            steps.append(Step(box, other, n))
            held[box], held[other] = held[box][n:], held[other] + held[box][:n]
        else:
            known = held[box][0] if rng.random() < 0.1 else None
            steps.append(Step(box, (box[0], "died"), 1, known))
            held[box] = held[box][1:]
    return steps


def report(what: str, repeat: int, work: Any) -> None:
    spent = []
    said = ""
    for _ in range(repeat):
        start = time.perf_counter()
        said = work() or ""
        spent.append(time.perf_counter() - start)
    print(f"  {what:<52} {statistics.median(spent):>8.2f} s  {said}", flush=True)


def house(
    lots: int, joins: int, sources: int, *, together: int, known: float = 0, seed: int = 1
) -> list[Step]:
    """Arrivals, losses, loans and as many splits as joins, over the lots in random order."""
    rng = random.Random(seed)
    held: dict[Box, int] = {}
    of: dict[Box, set[int]] = {}
    steps: list[Step] = []

    def go(a: Box | None, b: Box, n: int, source: int | None = None) -> None:
        steps.append(Step(a, b, n, source))
        came = {source} if a is None else of[a]
        of[b] = (of.get(b, set()) if held.get(b) else set()) | came  # type: ignore[operator]
        held[b] = held.get(b, 0) + n
        if a is not None:
            held[a] -= n

    for lot in range(lots):
        go(None, (lot, "here"), rng.randint(5, 60), rng.randrange(sources))
    work = ["join"] * joins + ["split"] * joins + ["lose"] * (4 * lots) + ["lend"] * (lots // 20)
    rng.shuffle(work)
    for what in work:
        lot = rng.randrange(lots)
        box = (lot, "here")
        if not held[box]:
            continue
        first = lot - lot % together
        other = rng.randrange(first, min(first + together, lots))
        if what == "lose":
            certain = rng.choice(sorted(of[box])) if rng.random() < known else None
            # A source that all may have left by now would be a false witness: only the first is told of.
            if certain is not None and (held[box] < 3 or len(of[box]) < 2):
                certain = None
            fate = rng.choices(FATES, (80, 4, 8, 4, 4))[0]
            go(box, (lot, fate), min(held[box], 1 if certain is not None else rng.randint(1, 4)), certain)
        elif what == "lend":
            go(box, (lot, "on loan"), rng.randint(1, held[box]))
        elif other != lot:
            n = held[box] if what == "join" else rng.randint(1, held[box])
            go(box, (other, "here"), n)
    return steps


def fate_of(box: Any) -> str:
    return str(box[1])


def all_bounds(steps: list[Step]) -> str:
    shares = Shares(steps, fate_of)
    sources = {source: [source] for source in shares.sources}
    places = {place: [place] for place in PLACES} | {"alive": ["here", "on loan", "missing"]}
    table = shares.table(sources, places)
    open_ones = sum(not found.sure for found in table.values())
    return (
        f"{len(table)} answers, {open_ones} of them uncertain, {len(shares.set_aside)} set aside"
        f"{', widened' if shares.widened else ''}"
    )


def by_lot(steps: list[Step]) -> str:
    shares = Shares(steps, lambda box: box)
    lots = [(lot, "here") for lot in range(100)]
    found = [shares.bounds([0], [lot]) for lot in lots]
    return f"{sum(not bounds.sure for bounds in found)} of {len(found)} uncertain"


def plain(steps: list[Step]) -> str:
    """The most of source 0 alive, on the network of all steps, nothing made smaller."""
    at: dict[Any, int] = {}
    held: dict[Any, int] = {}
    ways: list[tuple[int, int, int]] = []
    given: list[int] = []

    def after(box: Any) -> int:
        given.append(0)
        node = len(given) - 1
        if box in at:
            ways.append((at[box], node, held[box]))
        at[box] = node
        return node

    for step in steps:
        if step.from_box is None:
            given[after(step.to_box)] += step.n if step.source == 0 else 0
        else:
            before = at[step.from_box]
            held[step.from_box] -= step.n
            after(step.from_box)
            ways.append((before, after(step.to_box), step.n))
        held[step.to_box] = held.get(step.to_box, 0) + step.n
    cost = [0] * len(ways)
    for box, node in at.items():
        ways.append((node, -1, held[box]))
        cost.append(-1 if box[1] in ("here", "on loan", "missing") else 0)
    ends = [(a, i, 1) for i, (a, _, _) in enumerate(ways)]
    ends += [(b, i, -1) for i, (_, b, _) in enumerate(ways) if b >= 0]
    row, column, sign = zip(*ends, strict=True)
    matrix: Any = coo_array((sign, (row, column)), shape=(len(given), len(ways)))
    most = [n for _, _, n in ways]
    solve: Any = linprog  # its types know no sparse matrix
    answer = solve(
        np.array(cost, dtype=float),
        A_eq=matrix.tocsr(),
        b_eq=np.array(given, dtype=float),
        bounds=np.array([[0] * len(most), most]).T,
    )
    ours = Shares(steps, fate_of).bounds([0], ["here", "on loan", "missing"]).most
    if round(-answer.fun) != ours:
        sys.exit(f"HiGHS says {-answer.fun}, the maximum flow {ours}")
    return f"{len(given):,} nodes, {len(ways):,} ways; the same answer"


if __name__ == "__main__":
    sys.exit(main())
