"""Growth, and where a population that is followed by stage is heading.

Stage matrices as in Caswell 2001, Matrix Population Models: column j says what an animal of stage j becomes
in one step: survives and stays, survives and grows, and how many young it adds.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray

from census.estimators.rules.estimate import Estimate, Z, need

Matrix = Sequence[Sequence[float]]


def growth_rate(first: int, last: int, years: float) -> Estimate:
    """Times by which a number grew in a year, with the interval of the two counts as Poisson numbers.

    The interval speaks of chance alone: what was brought in or sent away is growth here too.
    """
    need(first > 0 and last > 0, "A number that is zero or below has no growth rate.")
    need(years > 0, "The two numbers must be apart in time.")
    r = log(last / first) / years
    se = sqrt(1 / first + 1 / last) / years
    few = min(first, last) < 20
    return Estimate(
        estimate=exp(r),
        low=exp(r - Z * se),
        high=exp(r + Z * se),
        se=se,
        method="ratio of two numbers to the power of one year; se is of its logarithm",
        assumptions=("Both numbers were counted, and each animal counts for itself.",),
        warnings=("Fewer than 20 animals: look at the animals, not at the rate.",) if few else (),
    )


@dataclass(frozen=True, slots=True)
class LifeRow:
    """Of a cohort: the share alive at the beginning of an age, those that die in it, what is left to live."""

    age: int
    alive: float
    chance_of_death: float
    expectation: float


def life_table(alive: Sequence[float]) -> list[LifeRow]:
    """From how many of a cohort are alive at the beginning of each age (any unit, never rising).

    ``expectation`` is in ages: a half for the age of death, and one for each age that is lived through
    (Deevey 1947, Q. Rev. Biol. 22:283-314).
    """
    need(len(alive) > 0 and alive[0] > 0, "A cohort begins with somebody.")
    for before, after in pairwise(alive):
        need(0 <= after <= before, f"{after} alive after {before}: a cohort never grows.")
    rows = []
    for age, now in enumerate(alive):
        if not now:
            break
        following = alive[age + 1] if age + 1 < len(alive) else 0
        rows.append(LifeRow(age, now / alive[0], 1 - following / now, 0.5 + sum(alive[age + 1 :]) / now))
    return rows


@dataclass(frozen=True, slots=True)
class Outlook:
    """``rate``: times by which the population grows in a step in the long run; ``stable``: the shares of
    the stages then; ``reproductive_value``: worth of one animal of each stage for the future, first = 1."""

    rate: float
    stable: tuple[float, ...]
    reproductive_value: tuple[float, ...]


def outlook(matrix: Matrix) -> Outlook:
    """The long run of a stage matrix: its dominant eigenvalue with both eigenvectors."""
    a = _checked(matrix)
    values, vectors = np.linalg.eig(a)
    at = int(np.argmax(values.real))
    need(abs(values[at].imag) < 1e-9, "The matrix has no single dominant rate: it goes round in a circle.")
    stable = np.abs(vectors[:, at].real)
    left_values, left = np.linalg.eig(a.T)
    value = np.abs(left[:, int(np.argmax(left_values.real))].real)
    scale = value[0] if value[0] > 0 else value.max()
    return Outlook(
        float(values[at].real),
        tuple(float(share) for share in stable / stable.sum()),
        tuple(float(worth) for worth in value / scale),
    )


@dataclass(frozen=True, slots=True)
class StageRates:
    """What was seen of one stage in one step: of ``animals``, so many stayed, grew, and had young.

    Everything is a count, for the uncertainty of a rate is in the numbers behind it.
    """

    animals: int
    stayed: int
    grew: int
    young: int = 0


@dataclass(frozen=True, slots=True)
class Projected:
    """Total after each step: the middle, and between which it lies in 95 % of what the counts allow."""

    step: int
    median: float
    low: float
    high: float


def stage_matrix(seen: Sequence[StageRates], names: Sequence[str] = ()) -> NDArray[np.float64]:
    """The matrix of what was seen: stages in order of growth, young begin in the first.

    ``names`` are those of the stages, for who reads why there is no matrix.
    """
    return _matrix(*_shares(seen, names))


def project(
    seen: Sequence[StageRates], start: Sequence[int], *, steps: int, draws: int = 2_000, seed: int = 1
) -> list[Projected]:
    """Totals over ``steps`` steps from ``start``, with the uncertainty of the rates and of chance.

    Each draw takes rates that the counts allow (Dirichlet with Jeffreys' prior for what becomes of an
    animal, gamma with Jeffreys' prior for young; Gelman and others, Bayesian Data Analysis, from memory),
    and then lets every animal live by them (multinomial, Poisson). Nothing is brought in or sent away.
    Seeded: the same question has the same answer.
    """
    need(len(seen) == len(start), f"{len(seen)} stages were seen and {len(start)} numbers are given.")
    need(steps > 0, "A projection needs a step.")
    _shares(seen)
    random = np.random.default_rng(seed)
    totals = np.empty((draws, steps))
    for draw in range(draws):
        fates = [
            random.dirichlet([s.stayed + 0.5, s.grew + 0.5, s.animals - s.stayed - s.grew + 0.5])
            for s in seen
        ]
        fates[-1] = _nobody_outgrows_the_last(fates[-1])
        fecundity = [random.gamma(s.young + 0.5, 1 / max(s.animals, 1)) if s.young else 0.0 for s in seen]
        now = np.array(start)
        for step in range(steps):
            now = _one_step(now, fates, fecundity, random)
            totals[draw, step] = now.sum()
    low, middle, high = np.quantile(totals, [0.025, 0.5, 0.975], axis=0)
    return [Projected(i + 1, float(middle[i]), float(low[i]), float(high[i])) for i in range(steps)]


def _one_step(
    now: NDArray[np.int64],
    fates: list[NDArray[np.float64]],
    fecundity: list[float],
    random: np.random.Generator,
) -> NDArray[np.int64]:
    after = np.zeros_like(now)
    for stage, number in enumerate(now):
        stay, grow, _ = random.multinomial(number, fates[stage])
        after[stage] += stay
        if stage + 1 < len(now):
            after[stage + 1] += grow
        after[0] += random.poisson(fecundity[stage] * number)
    return after


def _nobody_outgrows_the_last(fate: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.array([fate[0] + fate[1], 0.0, fate[2]])


def _shares(
    seen: Sequence[StageRates], names: Sequence[str] = ()
) -> tuple[list[float], list[float], list[float]]:
    need(len(seen) > 0, "There is no stage.")
    for number, stage in enumerate(seen):
        called = f"the stage “{names[number]}”" if names else f"stage {number + 1}"
        need(
            stage.animals > 0,
            f"Nobody was in {called} when the days began: there is no rate without animals.",
        )
        need(
            min(stage.stayed, stage.grew, stage.young) >= 0 and stage.stayed + stage.grew <= stage.animals,
            f"Of {stage.animals} in {called} more stayed or grew than there were.",
        )
    return (
        [s.stayed / s.animals for s in seen],
        [s.grew / s.animals for s in seen],
        [s.young / s.animals for s in seen],
    )


def _matrix(stay: list[float], grow: list[float], young: list[float]) -> NDArray[np.float64]:
    a = np.diag(stay)
    for stage, share in enumerate(grow[:-1]):
        a[stage + 1, stage] += share
    a[-1, -1] += grow[-1]
    a[0] += young
    return a


def _checked(matrix: Matrix) -> NDArray[np.float64]:
    a = np.array(matrix, dtype=float)
    need(a.ndim == 2 and a.shape[0] == a.shape[1], "A stage matrix has as many rows as columns.")
    need(bool((a >= 0).all()), "Nothing in a stage matrix is below zero.")
    return a
