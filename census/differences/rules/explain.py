"""From facts to proposals: build the model of the whole house, solve it, rank what touches each line."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from .agreeing import agreeing
from .causes import Cause
from .counting import by_place, counting
from .entries import entries
from .facts import HouseFacts, Line
from .living import living
from .model import Candidate, Component, components
from .pairs import pairs
from .possible import Possible
from .solve import Solution, cheapest_with, runner_up, solve
from .trees import most_needed


@dataclass(frozen=True, slots=True)
class Ranked:
    """A possible cause of a line. ``n``: animals of it; ``best``: it belongs to the cheapest set.

    ``regret``: by how much the cheapest set with it is dearer than the cheapest of all, in thousandths
    of a nat; ``None`` where that was not asked for.
    """

    possible: Possible
    n: int
    best: bool
    regret: int | None = None


@dataclass(frozen=True, slots=True)
class Explained:
    """The answer for one line. ``solution`` is that of the lines joined to it (``joined``), itself too.

    ``second``: the cheapest other explanation, where it was asked for.
    """

    line: Line
    ranked: Sequence[Ranked]
    joined: Sequence[str] = ()
    solution: Solution | None = None
    second: Sequence[Ranked] = field(default_factory=tuple)
    second_dearer: int | None = None


def possible_causes(lines: Sequence[Line], house: HouseFacts) -> list[Possible]:
    """Every cause that may be at work on the differing lines, each once."""
    nodes = [line for line in lines if is_node(line)]
    there = by_place([line for line in lines if line.count is not None])
    found = [one for line in nodes for one in counting(line, there[line.place], house)]
    found += [one for line in nodes for one in entries(line, house)]
    found += [one for line in nodes for one in living(line, house)]
    found += list(pairs(nodes, lines, house))
    return list({one.candidate.key: one for one in found}.values())


def is_node(line: Line) -> bool:
    """True for a line that has a difference, and is not settled."""
    return line.open and line.count is not None and line.difference != 0


def explain(
    lines: Sequence[Line],
    house: HouseFacts,
    *,
    refused: Collection[str] = (),
    detail: Collection[str] = (),
) -> dict[str, Explained]:
    """The proposals for every open line that has any, by its key.

    ``refused``: keys of candidates that a person has refused; they are not offered again, but for what
    is unexplained. ``detail``: lines of which the second explanation and every regret is wanted.
    """
    by_key = {line.key: line for line in lines}
    offered = {
        one.candidate.key: one
        for one in possible_causes(lines, house)
        if one.candidate.key not in refused or one.cause.is_rest
    }
    differences = {line.key: line.difference for line in lines if is_node(line)}
    parts = components(differences, _widened([one.candidate for one in offered.values()], differences))
    answers: dict[str, Explained] = {}
    for part, solution in zip(parts, solve(parts), strict=True):
        wanted = any(key in detail for key in part.differences)
        second = runner_up(part, solution) if wanted else None
        for key in part.differences:
            answers[key] = Explained(
                line=by_key[key],
                ranked=_ranked(part, solution, key, offered, regrets=wanted),
                joined=tuple(part.differences),
                solution=solution,
                second=_used(part, second, offered) if second else (),
                second_dearer=second.cost - solution.cost if second else None,
            )
    for line in lines:
        beside = [one for one in agreeing(line, house) if one.candidate.key not in refused]
        if beside and line.key not in answers:
            ranked = [Ranked(one, one.candidate.most, best=number == 0) for number, one in enumerate(beside)]
            answers[line.key] = Explained(line, ranked)
    return answers


def _widened(candidates: Sequence[Candidate], differences: Mapping[str, int]) -> list[Candidate]:
    """Pairs, and what is unexplained, are bounded by no line's own difference.

    A move of all that one line misses is possible, though the other did not get it all; what is too much
    costs too much. The bound is what no cheapest set can pass.
    """
    wide = []
    for part in components(differences, candidates):
        most = most_needed(part)
        wide += [
            replace(one, most=max(most, one.most))
            if len(one.nodes) == 2 or one.key.startswith(_UNEXPLAINED)
            else one
            for one in part.candidates
        ]
    return wide


_UNEXPLAINED = tuple(f"{cause.name.lower()} / " for cause in (Cause.LOSS, Cause.GAIN))


def _used(part: Component, solution: Solution, offered: Mapping[str, Possible]) -> list[Ranked]:
    return [
        Ranked(offered[one.key], solution.amounts[one.key], best=False)
        for one in part.candidates
        if one.key in solution.amounts and not one.noise
    ]


def _ranked(
    part: Component, solution: Solution, key: str, offered: Mapping[str, Possible], *, regrets: bool
) -> list[Ranked]:
    """What belongs to the cheapest set first, by animals; then the others, the likelier first."""
    ranked = []
    noise = 0
    for one in part.candidates:
        if key not in one.nodes:
            continue
        n = solution.amounts.get(one.key, 0)
        if one.noise:
            noise += n
        elif n:
            ranked.append(Ranked(offered[one.key], n, best=True, regret=0))
        elif one.effect(key) * part.differences[key] > 0:
            ranked.append(_other(part, solution, key, offered[one.key], regrets=regrets))
    if noise and not any(one.best for one in ranked):
        first = next(one for one in part.candidates if one.noise and key in one.nodes)
        ranked.append(Ranked(offered[first.key], noise, best=True, regret=0))
    return sorted(ranked, key=lambda one: _order(one, key, part.differences[key]))


def _other(part: Component, solution: Solution, key: str, one: Possible, *, regrets: bool) -> Ranked:
    most = min(one.candidate.most, abs(part.differences[key]))
    n = one.candidate.most if one.candidate.whole else max(most, one.candidate.least)
    if not regrets and len(part.differences) > 1:
        return Ranked(one, n, best=False)
    # In place of what is proposed for the line, not beside it.
    used = {c.key for c in part.candidates if key in c.nodes and solution.amounts.get(c.key) and not c.noise}
    instead = Component(part.differences, [c for c in part.candidates if c.key not in used])
    with_it = cheapest_with(instead, one.candidate.key) or cheapest_with(part, one.candidate.key)
    if with_it is None:
        return Ranked(one, n, best=False)
    return Ranked(one, with_it.amounts[one.candidate.key], best=False, regret=with_it.cost - solution.cost)


def _order(one: Ranked, key: str, difference: int) -> tuple[bool, bool, int, int, str]:
    candidate = one.possible.candidate
    if one.best:
        # A pair that runs against the difference is settled first: until then the others explain more
        # than there is.
        against = len(candidate.nodes) == 2 and candidate.effect(key) * difference < 0
        return (False, not against, -one.n, 0, candidate.key)
    left = abs(difference) - one.n
    estimate = candidate.cost(one.n) + 3000 * (left != 0) + 700 * abs(left)
    return (True, True, one.regret if one.regret is not None else estimate, -one.n, candidate.key)


__all__ = ["Explained", "Ranked", "explain", "is_node", "possible_causes"]
