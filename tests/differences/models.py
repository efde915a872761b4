"""Small random models, and their answers by trying everything."""

from collections.abc import Iterator, Mapping
from itertools import product

from hypothesis import strategies as st

from census.differences.rules.model import Candidate, Component

NODES = ("a", "b", "c")


def by_trying_everything(part: Component) -> list[tuple[int, frozenset[str]]]:
    """(cost, causes) of the cheapest consistent amounts for each set of causes, cheapest first."""
    best: dict[frozenset[str], int] = {}
    for amounts in _all_amounts(part):
        if any(part.unexplained_by(amounts).values()):
            continue
        causes, cost = part.causes_of(amounts), part.cost_of(amounts)
        best[causes] = min(cost, best.get(causes, cost))
    return sorted(((cost, causes) for causes, cost in best.items()), key=lambda one: (one[0], sorted(one[1])))


def _all_amounts(part: Component) -> Iterator[Mapping[str, int]]:
    keys = [one.key for one in part.candidates]
    choices = [
        (0, one.most) if one.whole else (0, *range(one.least, one.most + 1)) for one in part.candidates
    ]
    for numbers in product(*choices):
        yield dict(zip(keys, numbers, strict=True))


@st.composite
def models(draw: st.DrawFn, nodes: int = 3, causes: int = 4) -> tuple[dict[str, int], list[Candidate]]:
    """Differences and candidates; what is unexplained is among them, so that an answer exists."""
    names = NODES[: draw(st.integers(1, nodes))]
    differences = {name: draw(st.integers(-3, 3)) for name in names}
    candidates = []
    for number in range(draw(st.integers(0, causes))):
        gains, loses = draw(st.permutations([*names, ""]))[:2]
        least = draw(st.integers(1, 2))
        noise = draw(st.booleans()) and draw(st.booleans())
        candidates.append(
            Candidate(
                key=f"cause {number}",
                gains=gains,
                loses=loses,
                fixed=0 if noise else draw(st.integers(0, 9)),
                each=draw(st.integers(0, 4)),
                least=1 if noise else least,
                most=draw(st.integers(least, 3)),
                whole=not noise and draw(st.booleans()),
                noise=noise,
            )
        )
    for name, n in differences.items():
        if n:
            gains, loses = (name, "") if n > 0 else ("", name)
            candidates.append(Candidate(f"unexplained {name}", gains, loses, fixed=12, each=3, most=abs(n)))
    return differences, candidates
