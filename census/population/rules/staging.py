"""What was seen of each stage of a life, from the flows of lots that are followed by stage."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from .projection import StageRates

NOT_STATED = ""


class StageFlow(NamedTuple):
    """``n`` animals from one stage to another; an outside cause in the place of a stage that is not."""

    from_stage: str
    to_stage: str
    from_cause: str
    to_cause: str
    n: int


@dataclass(frozen=True, slots=True)
class Stages:
    """The stages in the order in which animals grow, and what was seen in one step."""

    names: list[str]
    opening: list[int]
    closing: list[int]
    seen: list[StageRates]


def order_of_stages(stages: Iterable[str], usual: Sequence[str], flows: Iterable[StageFlow]) -> list[str]:
    """The usual order; words of the house's own where animals grew from one into the other."""
    found = sorted(stages, key=lambda stage: (usual.index(stage) if stage in usual else len(usual), stage))
    own = {stage for stage in found if stage not in usual}
    for flow in flows:
        a, b = flow.from_stage, flow.to_stage
        if {a, b} & own and a in found and b in found and flow.n > 0 and found.index(a) > found.index(b):
            found.remove(a)
            found.insert(found.index(b), a)
    return found


def stages_seen(
    opening: dict[str, int], closing: dict[str, int], flows: Sequence[StageFlow], usual: Sequence[str]
) -> Stages:
    """Of the animals of each stage at the start: how many stayed, how many grew to the next, their young.

    Who grew is told by flows between stages; who stayed is who was there and neither grew, died nor left.
    Who came from outside in the step and died in it may have been none of those: the number that stayed is
    then too low, which is told where it happens. Young are laid to the last stage, where adults are; those
    whose stage nobody stated are no young of these, for their parents are left out too.
    """
    named = {stage for stage in (*opening, *closing) if stage != NOT_STATED}
    names = order_of_stages(named, usual, flows)
    seen = []
    born = sum(f.n for f in flows if f.from_cause in ("born", "divided", "settled") and f.to_stage in named)
    for at, stage in enumerate(names):
        there = max(opening.get(stage, 0), 0)
        grew = sum(f.n for f in flows if f.from_stage == stage and f.to_stage in names[at + 1 :])
        gone = sum(f.n for f in flows if f.from_stage == stage and f.to_cause)
        grew = min(max(grew, 0), there)
        stayed = max(there - grew - max(gone, 0), 0)
        young = max(born, 0) if at == len(names) - 1 else 0
        seen.append(StageRates(there, stayed, grew, young))
    return Stages(
        names, [opening.get(name, 0) for name in names], [closing.get(name, 0) for name in names], seen
    )
